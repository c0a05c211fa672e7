// Pages without a mouse: the first stop skips to what a page is about, and one sees where one is.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration } from "./service.js";

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

// What has the focus: its words, where it leads, and whether one sees that it has the focus.
function focused(page) {
  return page.evaluate(() => {
    const it = document.activeElement;
    const style = getComputedStyle(it);
    const box = it.getBoundingClientRect();
    const labelled = (it.labels?.[0] ?? it).textContent.trim().replace(/\s+/g, " ");
    const section = it.closest("section[id], form[id]");
    return {
      tag: it.tagName, words: labelled || it.getAttribute("aria-label") || "", type: it.type ?? "", href: it.getAttribute("href") ?? "",
      within: [section?.id, section?.parentElement?.closest("section[id]")?.id].filter(Boolean),
      ring: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2 && style.outlineColor !== "rgba(0, 0, 0, 0)",
      seen: box.width > 0 && box.height > 0 && box.bottom > 0 && box.top < innerHeight,
    };
  });
}

test("the first stop of each page skips to what the page is about", { timeout: 120_000 }, async () => {
  const page = await signIn(chromium, service.base, "jonas");
  for (const path of ["", "/ladder", "/runs", "/points/TX-03", "/stand-down"]) {
    await page.goto(`${service.base}/programmes/tallow${path}`);
    await page.keyboard.press("Tab");
    const first = await focused(page);
    assert.deepEqual([first.href, first.seen, first.ring], ["#main", true, true], path);
    await page.keyboard.press("Enter");
    assert.equal(await page.evaluate(() => document.activeElement.id), "main", path);
    await page.keyboard.press("Tab");
    assert.ok(await page.evaluate(() => document.getElementById("main").contains(document.activeElement)), `${path}: the next stop is in the page`);
    // The order of the focus is the order of the page: no index says otherwise.
    assert.equal(await page.locator("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").count(), 0, path);
  }
  await page.context().close();
});
