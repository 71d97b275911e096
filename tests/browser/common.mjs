// What both drivers share: how a figure is written, worked out from the JSON again, and what every page must be.
import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { pathToFileURL } from "node:url";
import axe from "axe-core";
import { chromium } from "playwright-core";

export const WIDE = { width: 1280, height: 800 };
export const NARROW = { width: 390, height: 844 };
// Heights and widths come in fractions of a pixel.
export const PIXEL = 1;
// An axe run that finds fewer rules to pass has not seen the page.
const LEAST_RULES = 15;

// Noise below 1e-5 does not count.
export const grouped = (x, places) => x.toLocaleString("en-US", { minimumFractionDigits: places, maximumFractionDigits: places });
export const down = (x, places) => grouped(Math.floor(x * 10 ** places + 1e-5) / 10 ** places, places);
export const up = (x, places) => grouped(Math.ceil(x * 10 ** places - 1e-5) / 10 ** places, places);
export const near = (x, places) => grouped(Math.round(x * 10 ** places) / 10 ** places, places);
export const clock = (min) => {
  const whole = Math.ceil(min - 1e-5);
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
};
export const tenth = (x) => near(x, 1).replace(/\.0$/, "");
export const rpm = (x) => grouped(10 * Math.round(x / 10), 0);
export const plain = (text) => text.replace(/\s+/g, " ").trim();

/// Chromium, and the folder for what it saw if there is one.
export async function started(shots) {
  if (shots) mkdirSync(shots, { recursive: true });
  return chromium.launch({
    executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
    args: process.getuid() === 0 ? ["--no-sandbox"] : [],
  });
}

/// Runs with a page, and sees that it said nothing, failed nothing and asked for nothing.
export async function on(browser, file, options, look) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  const heard = [];
  page.on("console", (message) => heard.push(`console ${message.type()}: ${message.text()}`));
  page.on("pageerror", (error) => heard.push(`error: ${error}`));
  page.on("request", (request) => {
    if (request.url() !== pathToFileURL(file).href && !request.url().startsWith("data:")) heard.push(`asked for ${request.url()}`);
  });
  await page.goto(pathToFileURL(file).href);
  await look(page);
  assert.deepEqual(heard, []);
  await context.close();
}

export async function fits(page, width) {
  const [there, room] = await page.evaluate(() => [document.scrollingElement.scrollWidth, innerWidth]);
  assert.equal(room, width);
  assert(there <= room, `scrolls sideways: ${there} of ${room} pixels`);
  const wide = await page.evaluate(() => [...document.querySelectorAll("body *")]
    .filter((e) => !e.closest("svg") && e.getBoundingClientRect().right > innerWidth + 1 && !e.closest("thead"))
    .map((e) => `${e.tagName}.${e.className}`));
  assert.deepEqual(wide, [], "sticks out");
}

export async function accessible(page) {
  await page.evaluate(axe.source);
  // Only what is wanted leaves the page: what axe found of thousands of elements takes longer to carry over than to find.
  const { violations, passes } = await page.evaluate(async () => {
    const found = await axe.run(document, { resultTypes: ["violations"] });
    return {
      violations: found.violations.map((v) => `${v.id}: ${v.nodes.map((n) => n.html).join(" | ")}`),
      passes: found.passes.length,
    };
  });
  assert.deepEqual(violations, []);
  assert(passes >= LEAST_RULES, `only ${passes} rules were looked at`);
}
