// The slider of `fellrun plan --frontier --page` and `fellrun frontier --page` in Chromium, held against the JSON of `fellrun frontier` for the
// same trip: node stops.mjs FOLDER [SCREENSHOTS]
// FOLDER holds NAME.html and NAME.json of each page, and NAME.plan where the page is of a plan: its JSON. Run by tests/browser.rs; exits with 1
// at the first thing that is wrong.
import assert from "node:assert/strict";
import { existsSync, readFileSync, readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { NARROW, PIXEL, WIDE, accessible, down, fits, near, on, plain, rpm, started, tenth, up } from "./common.mjs";

const [folder, shots] = process.argv.slice(2);
assert(folder, "which folder?");

// What is drawn stands where it should to this many pixels: the drawing has a tenth of a unit, the page a fraction of a pixel.
const DRAWN = 2 * PIXEL;
// Sides of the drawing of heights, as shares of its width.
const SIDES = [0.012, 0.988];

const time = (min) => {
  const tenths = Math.ceil(10 * min - 1e-4);
  return `${Math.floor(tenths / 600)}:${((tenths % 600) / 10).toFixed(1).padStart(4, "0")}`;
};

/// What is told large: of a plan of the frontier, or of the sheet.
const sums = (json, totals, toGo) => [
  ["time", time(totals.time_min)],
  ["fuel", `${up(totals.fuel_gal, 1)} gal`],
  ...(json.prices ? [["cost", up(totals.cost, 0)]] : []),
  ["start down", `${up(toGo, 0)} nm to go`],
  ["lands with", `${down(totals.landing_fuel_gal, 1)} gal`],
];

/// What must be said of the settings of a plan.
function settings(json, plan) {
  const words = [];
  for (const c of plan.cruise) {
    words.push(`${near(c.altitude_ft, 0)} ft`);
    if (json.fixed_pitch) words.push(`${rpm(c.rpm)} rpm`);
    else words.push(c.full_throttle ? `full throttle (${tenth(c.map_inhg)} in) / ${rpm(c.rpm)}` : `${tenth(c.map_inhg)} in / ${rpm(c.rpm)}`);
    words.push(`mixture ${c.mixture}`);
  }
  return words;
}

const slider = (page) => page.getByRole("slider", { name: "Plans, from the quickest to the thriftiest" });
/// All that is seen of a stop, in one look: what is called how, the figures told large, the rest in words, what is heard, the drawing and the ring.
const seen = (page) => page.evaluate(() => {
  const visible = (e) => e.checkVisibility() && getComputedStyle(e).display !== "none";
  const middle = (e) => {
    const box = e.getBoundingClientRect();
    return [box.left + box.width / 2, box.top + box.height / 2];
  };
  const text = (e) => e.innerText.replace(/\s+/g, " ").trim();
  const blocks = [...document.querySelectorAll(".stop")].filter(visible);
  const [line, heights] = [...document.querySelectorAll(".pair .picture")].filter(visible);
  const layers = [...heights.querySelectorAll("g[data-stop]")].filter(visible);
  const box = heights.getBoundingClientRect();
  return {
    blocks: blocks.length,
    called: text(blocks[0].querySelector(".which")),
    sums: [...blocks[0].querySelectorAll(".sums > div")].map((div) => [...div.children].map(text)),
    rest: text(blocks[1]),
    at: Number(document.getElementById("stop").value),
    heard: document.getElementById("stop").getAttribute("aria-valuetext"),
    layers: layers.length,
    drawn: layers.flatMap((g) => [...g.querySelectorAll("text")].map((t) => t.textContent.trim())).join(" "),
    marks: layers.flatMap((g) => [...g.querySelectorAll("circle")].map((c) => middle(c)[0])),
    left: box.left,
    width: box.width,
    ring: middle(line.querySelector(".ring")),
  };
});

/// Holds what is shown against a plan of the frontier: words, figures, and the path, which goes down where the plan starts down.
function holds(json, plan, got, where) {
  const marks = [plan.best_value && "best value", plan.cheapest && "cheapest"].filter(Boolean);
  assert(got.called.startsWith([`Plan ${plan.order} of ${json.plans.length}`, ...marks].join(", ")), `${where}: ${got.called}`);
  assert.equal(got.blocks, 2, where);
  // The plan of the sheet reads like its plan of the frontier, but a figure on the edge may be rounded the other way.
  const toGo = plan.descent.top_of_descent_to_go_nm;
  if (!got.called.includes("of this sheet")) assert.deepEqual(got.sums, sums(json, plan.totals, toGo), where);
  for (const words of settings(json, plan)) assert(got.rest.includes(words), `${where}: no ${words} in ${got.rest}`);
  if (plan.next_minute) {
    assert(got.rest.includes(`each minute takes ${near(plan.next_minute.minute_gal, 2)} gal`), `${where}: ${got.rest}`);
  }
  for (const [, value] of got.sums) assert(got.heard.includes(value), `${where}: ${value} is not heard in ${got.heard}`);
  assert.equal(got.layers, 1, where);
  assert(got.drawn.includes(`down at ${up(toGo, 0)} nm to go`), `${where}: ${got.drawn}`);
  for (const ft of plan.levels_ft) assert(got.drawn.includes(near(ft, 0)), `${where}: ${got.drawn}`);
  const x = got.left + got.width * (SIDES[0] + (SIDES[1] - SIDES[0]) * (1 - toGo / plan.totals.distance_nm));
  assert(got.marks.some((mark) => Math.abs(mark - x) <= DRAWN), `${where}: no mark at ${x} in ${got.marks}`);
}

const shows = async (page, json, plan, where) => holds(json, plan, await seen(page), where);

/// Reached by the tabulator key alone, then from end to end by the arrow keys; the ring goes along in proportion to time and fuel.
async function keyboard(page, json, stops) {
  const input = slider(page);
  await page.evaluate(() => { scrollTo(0, 0); document.activeElement.blur(); });
  for (let i = 0; i < 30 && !(await input.evaluate((e) => e === document.activeElement)); i += 1) await page.keyboard.press("Tab");
  assert(await input.evaluate((e) => e === document.activeElement), "no way to the slider by keyboard");
  await page.keyboard.press("Home");
  const rings = [];
  for (const [i, stop] of stops.entries()) {
    if (i > 0) await page.keyboard.press("ArrowRight");
    const got = await seen(page);
    assert.equal(got.at, i);
    if (stop.order) holds(json, stop, got, `stop ${i}`);
    rings.push(got.ring);
  }
  const totals = stops.map((s) => s.totals);
  for (const [k, of] of [[0, (t) => t.time_min], [1, (t) => t.fuel_gal]]) {
    const [a, b] = [totals[0], totals.at(-1)];
    for (const [i, t] of totals.entries()) {
      const share = (of(t) - of(a)) / (of(b) - of(a));
      const at = rings[0][k] + share * (rings.at(-1)[k] - rings[0][k]);
      assert(Math.abs(at - rings[i][k]) <= DRAWN, `stop ${i}: ring at ${rings[i]}, not at ${at}`);
    }
  }
  await page.keyboard.press("ArrowRight");
  assert.equal(Number(await input.inputValue()), stops.length - 1);
  await page.keyboard.press("End");
  await page.keyboard.press("ArrowLeft");
  assert.equal(Number(await input.inputValue()), stops.length - 2);
}

/// A finger on the slider, and on a point of the line.
async function touch(page, json, stops) {
  const input = slider(page);
  await input.scrollIntoViewIfNeeded();
  for (const part of [0.02, 0.98]) {
    const box = await input.boundingBox();
    await page.touchscreen.tap(box.x + part * box.width, box.y + box.height / 2);
    const stop = stops[part < 0.5 ? 0 : stops.length - 1];
    if (stop.order) await shows(page, json, stop, `finger at ${part} of the slider`);
  }
  for (const i of [0, Math.floor(stops.length / 2), stops.length - 1]) {
    await input.evaluate((e, value) => { e.value = value; e.dispatchEvent(new Event("input")); }, i);
    await page.locator(".pair:visible .picture").first().scrollIntoViewIfNeeded();
    const [x, y] = (await seen(page)).ring;
    await input.evaluate((e, value) => { e.value = value; e.dispatchEvent(new Event("input")); }, i === 0 ? 1 : 0);
    await page.touchscreen.tap(x, y);
    assert.equal(Number(await input.inputValue()), i, "finger on the line");
    if (stops[i].order) await shows(page, json, stops[i], `finger on the line at stop ${i}`);
  }
}

async function begins(page, json, sheet, stops) {
  const got = await seen(page);
  if (sheet) {
    assert(/of this sheet/.test(got.called), got.called);
    assert.deepEqual(got.sums, sums(json, sheet.totals, sheet.top_of_descent_to_go_nm));
    assert(got.rest.includes(plain(sheet.in_one_line)), got.rest);
  } else {
    const plan = stops[got.at];
    assert(json.prices ? plan.cheapest : plan.best_value || got.at === 0, got.called);
    holds(json, plan, got, "at first");
  }
}

/// The stops: the plans of the frontier, with that of the sheet among them where it is none of these.
function stopsOf(json, sheet, count) {
  if (count === json.plans.length) return json.plans;
  assert(sheet && count === json.plans.length + 1, `${count} stops`);
  const own = { totals: sheet.totals };
  return [...json.plans, own].sort((a, b) => a.totals.time_min - b.totals.time_min || (a.order ? -1 : 1));
}

async function printed(page, json, name) {
  await page.emulateMedia({ media: "print" });
  assert.equal(await page.locator(".stops").isVisible(), false);
  assert(await page.getByRole("heading", { name: "Plans that no other beats in both time and fuel" }).isVisible());
  await page.pdf({ preferCSSPageSize: true, path: shots && join(shots, `${name}.pdf`) });
}

async function withoutScript(page, json) {
  assert.equal(await page.locator("#stop").isVisible(), false);
  assert.equal(await page.locator(".stop:visible").count(), 2);
  const rows = page.locator("section[aria-labelledby=plans] table").getByRole("row");
  assert.equal(await rows.count(), json.plans.length + 1);
  const text = plain(await page.locator("section[aria-labelledby=plans]").innerText());
  for (const plan of json.plans) assert(text.includes(time(plan.totals.time_min)), time(plan.totals.time_min));
}

const names = readdirSync(folder).filter((f) => f.endsWith(".html")).map((f) => f.slice(0, -5)).sort();
assert(names.length, "no page in the folder");
const browser = await started(shots);
try {
  for (const name of names) {
    const file = resolve(folder, `${name}.html`);
    const read = (path) => JSON.parse(readFileSync(path, "utf8"));
    const json = read(join(folder, `${name}.json`));
    const of = join(folder, `${name}.plan`);
    const sheet = existsSync(of) ? read(of) : null;
    // As the plan's own JSON has it.
    if (sheet) assert.deepEqual(sheet.frontier, json);
    let stops = null;
    const shot = async (page, what) => {
      if (!shots) return;
      await page.screenshot({ path: join(shots, `${name}-${what}.png`), fullPage: true });
      await page.locator("#stops").scrollIntoViewIfNeeded();
      await page.evaluate(() => document.getElementById("stops").scrollIntoView());
      await page.screenshot({ path: join(shots, `${name}-${what}-slider.png`) });
    };
    // Looked at in both; what it does is the same in either.
    for (const colorScheme of ["light", "dark"]) {
      await on(browser, file, { viewport: WIDE, colorScheme }, async (page) => {
        stops = stopsOf(json, sheet, Number(await slider(page).getAttribute("max")) + 1);
        await begins(page, json, sheet, stops);
        await shot(page, `wide-${colorScheme}`);
        await fits(page, WIDE.width);
        await accessible(page);
        if (colorScheme === "dark") return;
        await keyboard(page, json, stops);
        await accessible(page);
      });
      await on(browser, file, { viewport: NARROW, colorScheme, hasTouch: true, isMobile: true }, async (page) => {
        await begins(page, json, sheet, stops);
        await shot(page, `narrow-${colorScheme}`);
        await fits(page, NARROW.width);
        await accessible(page);
        if (colorScheme === "dark") return;
        await touch(page, json, stops);
        await fits(page, NARROW.width);
        await shot(page, `narrow-${colorScheme}-touch`);
      });
    }
    await on(browser, file, { viewport: WIDE, javaScriptEnabled: false }, (page) => withoutScript(page, json));
    await on(browser, file, { viewport: WIDE, colorScheme: "dark" }, (page) => printed(page, json, name));
    console.log(`${name}: right`);
  }
} finally {
  await browser.close();
}
