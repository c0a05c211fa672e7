// Every kind of page for people who see or steer otherwise, on a phone and on a desk, by day and by night; and what a page may load.

import assert from "node:assert/strict";
import { mkdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { kindOf, kindsOfPages } from "./crawl.js";
import { signIn } from "./people.js";
import { browser, Demonstration } from "./service.js";

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
const WIDTHS = [320, 768, 1280];
const SHOTS = process.env.SCREENSHOTS;
// Every width by day and by night takes long: by default axe looks on a phone by day and on a desk by night, EVERY_WIDTH=1 at all.
const EVERY_WIDTH = process.env.EVERY_WIDTH === "1";
const LOOKED_AT = { light: 320, dark: 1280 };

let service;
let chromium;

before(async () => {
  service = await Demonstration.begin();
  chromium = await browser();
});

after(async () => {
  await chromium?.close();
  await service?.end();
});

async function complaints(page) {
  // Through the debugger, so that the page's own policy on scripts stands as it is.
  await page.evaluate(AXE);
  const { violations } = await page.evaluate((tags) => window.axe.run(document, { runOnly: tags }), RULES);
  return violations.flatMap(({ id, help, nodes }) => nodes.map(({ target }) => `${id}: ${help}: ${target.join(" ")}`));
}

test("every kind of page has nothing that axe complains of, fits its width, and asks nobody else for anything", { timeout: 900_000 }, async () => {
  const wrong = [];
  for (const [handle, colorScheme] of [["marit", "light"], ["sofia", "dark"]]) {
    const page = await signIn(chromium, service.base, handle, { colorScheme });
    page.on("console", (message) => {
      if (message.type() === "error") wrong.push(`${page.url()}: ${message.text()}`);
    });
    page.on("request", (request) => {
      if (!request.url().startsWith(service.base) && !request.url().startsWith("data:")) wrong.push(`${page.url()} asked ${request.url()}`);
    });
    const paths = await kindsOfPages(page);
    assert.ok(paths.length >= 8, `there are ${paths.length} kinds of pages: ${paths}`);
    for (const path of paths) {
      await page.goto(service.base + path);
      for (const width of WIDTHS) {
        await page.setViewportSize({ width, height: 900 });
        const beyond = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
        if (beyond > 0) wrong.push(`${path} at ${width} px: ${beyond} px too wide`);
        if (EVERY_WIDTH || width === LOOKED_AT[colorScheme]) wrong.push(...(await complaints(page)).map((complaint) => `${path} at ${width} px, ${colorScheme}: ${complaint}`));
        if (SHOTS) {
          mkdirSync(SHOTS, { recursive: true });
          const name = `${kindOf(path).replaceAll("/", "_").replaceAll("*", "x")}-${width}-${colorScheme}.png`;
          await page.screenshot({ path: join(SHOTS, name), fullPage: true });
        }
      }
    }
    await page.context().close();
  }
  assert.deepEqual([...new Set(wrong)], []);
});

test("what an unknown file offers can be seen and steered otherwise too, and a file's way is told", { timeout: 300_000 }, async () => {
  const page = await signIn(chromium, service.base, "tomas", { viewport: { width: 390, height: 844 } });
  await page.goto(`${service.base}/programmes/tallow/recorders`);
  const rows = Array.from({ length: 60 }, (_, second) => `2026-05-02T09:04:${String(second).padStart(2, "0")}Z;${300 + second};1,5`);
  const file = { name: "stick.csv", mimeType: "text/csv", buffer: Buffer.from(["Moment;U_pack [V];Other", ...rows, ""].join("\n")) };
  const form = page.locator("#form-look");
  await form.locator("input[type=file]").setInputFiles(file);
  await form.getByRole("button", { name: "Look at it" }).click();
  await page.getByRole("heading", { level: 1, name: /stick\.csv/ }).waitFor();
  assert.equal(await page.locator("fieldset.mapped").count(), 3);
  assert.deepEqual(await complaints(page), []);
  const beyond = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.equal(beyond, 0, "it fits the width");
  await page.context().close();
});

test("a part of a plot is chosen by links and by dragging", { timeout: 300_000 }, async () => {
  const page = await signIn(chromium, service.base, "tomas", { viewport: { width: 1280, height: 900 } });
  await page.goto(`${service.base}/programmes/tallow/recordings`);
  await page.locator("ul.runs li > a").first().click();
  await page.getByRole("link", { name: "Plots" }).click();
  const plot = page.locator("svg.plot").first();
  const span = async () => {
    const [from, to] = await plot.evaluate((one) => [one.dataset.from, one.dataset.to]);
    return Date.parse(to) - Date.parse(from);
  };
  const whole = await span();
  await page.getByRole("link", { name: "Nearer" }).first().click();
  const nearer = await span();
  assert.ok(nearer < 0.6 * whole, `${nearer} of ${whole} ms`);
  const box = await plot.boundingBox();
  await page.mouse.move(box.x + 0.4 * box.width, box.y + box.height / 2);
  await page.mouse.down();
  await page.mouse.move(box.x + 0.6 * box.width, box.y + box.height / 2);
  await Promise.all([page.waitForURL(/from=/), page.mouse.up()]);
  await page.waitForLoadState();
  assert.ok((await span()) < 0.5 * nearer, "the part that was drawn across");
  await page.context().close();
});

test("what can be pressed is large enough for a gloved hand", { timeout: 300_000 }, async () => {
  const page = await signIn(chromium, service.base, "jonas", { viewport: { width: 390, height: 844 } });
  const small = [];
  for (const path of await kindsOfPages(page)) {
    await page.goto(service.base + path);
    const found = await page.$$eval("button, input:not([type=hidden]), select, summary, nav a", (all) =>
      all
        .map((one) => ({ one, box: one.getBoundingClientRect() }))
        .filter(({ box }) => box.width > 0 && box.height > 0 && (box.height < 43.5 || box.width < 24))
        .map(({ one, box }) => `${one.outerHTML.slice(0, 80)} is ${box.width.toFixed(0)} by ${box.height.toFixed(0)} px`),
    );
    small.push(...found.filter((what) => !/type="(checkbox|radio)"/.test(what)).map((what) => `${path}: ${what}`));
  }
  await page.context().close();
  assert.deepEqual(small, []);
});
