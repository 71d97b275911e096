// The page of `fellrun plan --page` in Chromium, held against the JSON of the same plan: node page.mjs FOLDER [SCREENSHOTS]
// FOLDER holds NAME.html and NAME.json of each plan. Run by tests/browser.rs; exits with 1 at the first thing that is wrong.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { NARROW, PIXEL, WIDE, accessible, clock, down, fits, near, on, plain, rpm, started, tenth } from "./common.mjs";

const [folder, shots] = process.argv.slice(2);
assert(folder, "which folder?");

// 14 pt in CSS pixels.
const CARD_TEXT = 14 * 96 / 72;

const setting = (plan, p) => plan.trip.fixed_pitch ? `${rpm(p.rpm)} rpm` : `${tenth(p.map_inhg)} in / ${rpm(p.rpm)}`;

/// What the read-out must show at a point of the track, but for the name of the segment.
const expected = (plan, p) => [
  near(p.distance_nm, 1), clock(p.time_min), near(p.indicated_altitude_ft, 0), down(p.fuel_left_gal, 1), setting(plan, p),
  p.mixture, near(p.ias_kt, 0), near(p.gs_kt, 0),
];

const nearest = (plan, nm) => plan.track.reduce((best, p) =>
  Math.abs(p.distance_nm - nm) < Math.abs(best.distance_nm - nm) - 1e-3 ? p : best);

const readings = async (page) => (await page.locator("#readings .value").allTextContents()).map(plain);

async function shows(page, plan, point, where) {
  const got = await readings(page);
  assert.deepEqual(got.slice(0, -1), expected(plan, point), where);
  assert(got.at(-1), `${where}: no name of the segment`);
}

/// The five answers, what each must say, and how far down it may stand.
async function answers(page, plan, lowest) {
  const cruise = plan.cruise[0];
  const field = plan.fields.at(-1);
  const wanted = [
    [/^Level( off)?$/, [`${near(cruise.level_ft, 0)} ft`, `${Math.ceil(plan.top_of_climb_nm - 1e-5)} nm out`]],
    [/^Set in cruise$/, [cruise.setting, `mixture ${cruise.mixture}`]],
    [/^Start down$/, [`${Math.ceil(plan.top_of_descent_to_go_nm - 1e-5)} nm to go`]],
    [/^Mixture for a go-around$/, [`${field.high_power_mixture} at ${near(plan.pattern_altitude_ft, 0)} ft`]],
    [/^Land with$/, [`${down(plan.totals.landing_fuel_gal, 1)} gal`]],
  ];
  const blocks = page.locator("section[aria-labelledby=answers] .answers > div");
  assert.equal(await blocks.count(), wanted.length);
  for (const [i, [question, words]] of wanted.entries()) {
    const block = blocks.nth(i);
    assert.match(plain(await block.locator("dt").innerText()), question);
    const text = plain(await block.locator("dd").innerText());
    for (const word of words) assert(text.includes(word), `${word}: ${text}`);
    const box = await block.boundingBox();
    assert(box.y + box.height <= lowest, `${words[0]} ends at ${box.y + box.height}, below ${lowest}`);
  }
}

/// A place over a chart: a distance along the route, half-way down.
async function over(chart, plan, nm) {
  const box = await chart.boundingBox();
  const [left, right] = await chart.evaluate((e) => [Number(e.dataset.left), Number(e.dataset.right)]);
  return [box.x + box.width * (left + (right - left) * nm / plan.totals.distance_nm), box.y + box.height / 2];
}

/// The middle between the points beside it, in which it is the nearest, in whole nm or so.
const places = (plan) => [0.001, 0.03, 0.11, 0.31, 0.5, 0.72, 0.93, 0.999].map((part) => part * plan.totals.distance_nm);

async function cursorStandsOver(chart, x) {
  const line = await chart.locator(".cursor").boundingBox();
  assert(Math.abs(line.x + line.width / 2 - x) <= 2 * PIXEL, `cursor at ${line.x}, not at ${x}`);
  // What stands over the plot, route and totals, is not crossed out by it.
  const box = await chart.boundingBox();
  if (await chart.evaluate((c) => c.classList.contains("wide"))) {
    const head = await chart.locator("svg text").first().boundingBox();
    assert(head.y + head.height <= line.y && line.y < box.y + 0.15 * box.height, `cursor from ${line.y}, title to ${head.y + head.height}`);
  }
}

async function pointer(page, plan) {
  const chart = page.locator(".chart.wide");
  await chart.scrollIntoViewIfNeeded();
  for (const nm of places(plan)) {
    await page.mouse.move(...await over(chart, plan, nm));
    const point = nearest(plan, nm);
    await shows(page, plan, point, `pointer at ${nm} nm`);
    await cursorStandsOver(chart, (await over(chart, plan, point.distance_nm))[0]);
  }
  // The drawing itself: its marks stand where the climb ends and the descent begins.
  for (const nm of [plan.top_of_climb_nm, plan.top_of_descent_nm]) {
    let found = false;
    for (const mark of await chart.locator("circle").all()) {
      const box = await mark.boundingBox();
      await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
      found ||= (await readings(page))[0] === near(nearest(plan, nm).distance_nm, 1);
    }
    assert(found, `no mark of the chart stands at ${nm} nm`);
  }
}

async function keyboard(page, plan) {
  const slider = page.getByRole("slider", { name: "Along the route" });
  // Reached by the tabulator key alone.
  await page.evaluate(() => { scrollTo(0, 0); document.activeElement.blur(); });
  for (let i = 0; i < 20 && !(await slider.evaluate((e) => e === document.activeElement)); i += 1) await page.keyboard.press("Tab");
  assert(await slider.evaluate((e) => e === document.activeElement), "no way to the slider by keyboard");
  await page.keyboard.press("Home");
  await shows(page, plan, plan.track[0], "Home");
  for (let i = 1; i <= 5; i += 1) await page.keyboard.press("ArrowRight");
  await shows(page, plan, plan.track[5], "five to the right");
  await page.keyboard.press("ArrowLeft");
  await shows(page, plan, plan.track[4], "one to the left");
  assert(plain(await slider.getAttribute("aria-valuetext")).includes(`${near(plan.track[4].indicated_altitude_ft, 0)} ft`));
  await page.keyboard.press("Home");
  for (let i = 1; i < plan.segments.length; i += 1) {
    await page.keyboard.press("PageDown");
    await shows(page, plan, plan.track.find((p) => p.segment === i), `segment ${i}`);
  }
  await page.keyboard.press("End");
  await shows(page, plan, plan.track.at(-1), "End");
  await page.keyboard.press("ArrowRight");
  await shows(page, plan, plan.track.at(-1), "beyond the end");
}

async function touch(page, plan) {
  const chart = page.locator(".chart.narrow");
  await chart.scrollIntoViewIfNeeded();
  for (const part of [0.2, 0.6, 0.95]) {
    const nm = part * plan.totals.distance_nm;
    await page.touchscreen.tap(...await over(chart, plan, nm));
    await shows(page, plan, nearest(plan, nm), `finger at ${nm} nm`);
  }
}

async function withoutScript(page, plan) {
  assert.equal(await page.locator("#readings").isVisible(), false);
  assert.equal(await page.locator("#along").isVisible(), false);
  assert(await page.locator(".chart.wide svg").isVisible());
  assert.equal(await page.locator("section[aria-labelledby=segments] table").getByRole("row").count(), plan.segments.length + 1);
  const text = plain(await page.locator("body").innerText());
  for (const words of [plan.title, plan.in_one_line, ...plan.cautions]) assert(text.includes(plain(words)), words);
}

async function printed(page, name) {
  await page.emulateMedia({ media: "print" });
  const sizes = await page.evaluate(() => {
    const count = {};
    const walk = document.createTreeWalker(document.querySelector(".sheets"), NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const size = getComputedStyle(walk.currentNode.parentElement).fontSize;
      count[size] = (count[size] ?? 0) + walk.currentNode.data.trim().length;
    }
    return count;
  });
  const [most] = Object.entries(sizes).sort((a, b) => b[1] - a[1])[0];
  assert(parseFloat(most) >= CARD_TEXT - 0.01, `most of the card is set in ${most}`);
  const pdf = await page.pdf({ preferCSSPageSize: true, path: shots && join(shots, `${name}.pdf`) });
  // Widths and heights of the sheets in points; A5 is 148 x 210 mm.
  const sheets = [...pdf.toString("latin1").matchAll(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]/g)].map((m) => [Number(m[1]), Number(m[2])]);
  const a5 = sheets.filter(([w, h]) => Math.abs(Math.min(w, h) - 419.5) < 2 && Math.abs(Math.max(w, h) - 595.3) < 2);
  assert(a5.length >= 1 && a5.length < sheets.length, `sheets of ${JSON.stringify(sheets)}`);
}

const names = readdirSync(folder).filter((f) => f.endsWith(".html")).map((f) => f.slice(0, -5)).sort();
assert(names.length, "no page in the folder");
const browser = await started(shots);
try {
  for (const name of names) {
    const file = resolve(folder, `${name}.html`);
    const plan = JSON.parse(readFileSync(join(folder, `${name}.json`), "utf8"));
    const shot = (page, what) => shots && page.screenshot({ path: join(shots, `${name}-${what}.png`) });
    // Looked at in both; what it does is the same in either.
    for (const colorScheme of ["light", "dark"]) {
      await on(browser, file, { viewport: WIDE, colorScheme }, async (page) => {
        await shot(page, `wide-${colorScheme}`);
        await fits(page, WIDE.width);
        await answers(page, plan, WIDE.height);
        await accessible(page);
        if (colorScheme === "dark") return;
        await pointer(page, plan);
        await shot(page, `wide-${colorScheme}-pointer`);
        await keyboard(page, plan);
      });
      await on(browser, file, { viewport: NARROW, colorScheme, hasTouch: true, isMobile: true }, async (page) => {
        await shot(page, `narrow-${colorScheme}`);
        await fits(page, NARROW.width);
        await answers(page, plan, 2 * NARROW.height);
        await accessible(page);
        if (colorScheme === "dark") return;
        await touch(page, plan);
        await shot(page, `narrow-${colorScheme}-touch`);
      });
    }
    await on(browser, file, { viewport: WIDE, javaScriptEnabled: false }, (page) => withoutScript(page, plan));
    await on(browser, file, { viewport: WIDE, colorScheme: "dark" }, (page) => printed(page, name));
    console.log(`${name}: right`);
  }
} finally {
  await browser.close();
}
