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
  ["lands with", `${down(totals.landing_fuel_gal, 0)} gal`],
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
const shown = (page) => page.locator(".stop:visible");

/// What stands large on the page.
async function large(page) {
  const block = shown(page).first();
  const pairs = [];
  for (const div of await block.locator(".sums > div").all()) {
    pairs.push([plain(await div.locator("dt").innerText()), plain(await div.locator("dd").innerText())]);
  }
  return [plain(await block.locator(".which").innerText()), pairs];
}

/// Holds what is shown against a plan of the frontier.
async function shows(page, json, plan, where) {
  const [called, pairs] = await large(page);
  const marks = [plan.best_value && "best value", plan.cheapest && "cheapest"].filter(Boolean);
  assert(called.startsWith([`Plan ${plan.order} of ${json.plans.length}`, ...marks].join(", ")), `${where}: ${called}`);
  // The plan of the sheet reads like its plan of the frontier, but a figure on the edge may be rounded the other way.
  if (!called.includes("of this sheet")) assert.deepEqual(pairs, sums(json, plan.totals, plan.descent.top_of_descent_to_go_nm), where);
  const rest = plain(await shown(page).nth(1).innerText());
  for (const words of settings(json, plan)) assert(rest.includes(words), `${where}: no ${words} in ${rest}`);
  if (plan.next_minute) {
    assert(rest.includes(`each minute takes ${near(plan.next_minute.minute_gal, 2)} gal`), `${where}: ${rest}`);
  }
  assert.equal(await shown(page).count(), 2, where);
  const heard = await slider(page).getAttribute("aria-valuetext");
  for (const [, value] of pairs) assert(heard.includes(value), `${where}: ${value} is not heard in ${heard}`);
  await drawn(page, json, plan, where);
}

/// The path in the drawing of heights: that of this plan, down where it starts down.
async function drawn(page, json, plan, where) {
  const picture = page.locator(".pair:visible .picture").nth(1);
  const layers = picture.locator("g[data-stop]:visible");
  assert.equal(await layers.count(), 1, where);
  const text = plain(await layers.first().evaluate((g) => [...g.querySelectorAll("text")].map((t) => t.textContent).join(" ")));
  assert(text.includes(`down at ${up(plan.descent.top_of_descent_to_go_nm, 0)} nm to go`), `${where}: ${text}`);
  for (const ft of plan.levels_ft) assert(text.includes(near(ft, 0)), `${where}: ${text}`);
  const box = await picture.boundingBox();
  const part = 1 - plan.descent.top_of_descent_to_go_nm / plan.totals.distance_nm;
  const x = box.x + box.width * (SIDES[0] + (SIDES[1] - SIDES[0]) * part);
  const dots = await layers.first().locator("circle").all();
  const centres = [];
  for (const dot of dots) {
    const at = await dot.boundingBox();
    centres.push(at.x + at.width / 2);
  }
  assert(centres.some((c) => Math.abs(c - x) <= DRAWN), `${where}: no mark at ${x} in ${centres}`);
}

async function ring(page) {
  const box = await page.locator(".pair:visible .ring").boundingBox();
  return [box.x + box.width / 2, box.y + box.height / 2];
}

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
    assert.equal(Number(await input.inputValue()), i);
    if (stop.order) await shows(page, json, stop, `stop ${i}`);
    rings.push(await ring(page));
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
    const [x, y] = await ring(page);
    await input.evaluate((e, value) => { e.value = value; e.dispatchEvent(new Event("input")); }, i === 0 ? 1 : 0);
    await page.touchscreen.tap(x, y);
    assert.equal(Number(await input.inputValue()), i, "finger on the line");
    if (stops[i].order) await shows(page, json, stops[i], `finger on the line at stop ${i}`);
  }
}

async function begins(page, json, sheet, stops) {
  const [called, pairs] = await large(page);
  const at = Number(await slider(page).inputValue());
  if (sheet) {
    assert(/of this sheet/.test(called), called);
    assert.deepEqual(pairs, sums(json, sheet.totals, sheet.top_of_descent_to_go_nm));
    const rest = plain(await shown(page).nth(1).innerText());
    assert(rest.includes(sheet.in_one_line), rest);
  } else {
    const plan = stops[at];
    assert(json.prices ? plan.cheapest : plan.best_value || at === 0, called);
    await shows(page, json, plan, "at first");
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
  assert.equal(await shown(page).count(), 2);
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
    for (const colorScheme of ["light", "dark"]) {
      await on(browser, file, { viewport: WIDE, colorScheme }, async (page) => {
        stops = stopsOf(json, sheet, Number(await slider(page).getAttribute("max")) + 1);
        await begins(page, json, sheet, stops);
        await shot(page, `wide-${colorScheme}`);
        await fits(page, WIDE.width);
        await accessible(page);
        await keyboard(page, json, stops);
        await accessible(page);
      });
      await on(browser, file, { viewport: NARROW, colorScheme, hasTouch: true, isMobile: true }, async (page) => {
        await begins(page, json, sheet, stops);
        await shot(page, `narrow-${colorScheme}`);
        await fits(page, NARROW.width);
        await accessible(page);
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
