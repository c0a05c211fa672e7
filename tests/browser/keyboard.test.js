// The main job without a mouse: four people with the Tab key, Space and Enter alone, who always see where they are.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration, PIN } from "./service.js";

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

// Goes on with the Tab key until something is reached. Each stop on the way must be seen to have the focus.
async function tabTo(page, what, found) {
  const passed = [];
  for (let step = 0; step < 400; step += 1) {
    await page.keyboard.press("Tab");
    const at = await focused(page);
    if (at.tag === "BODY") continue;
    assert.ok(at.ring, `no ring around ${JSON.stringify(at)}`);
    assert.ok(at.seen, `out of sight: ${JSON.stringify(at)}`);
    passed.push(at.words.slice(0, 40));
    if (found(at)) return at;
  }
  assert.fail(`${what} was not reached from ${page.url()}: ${passed.join(" | ")}`);
}

const button = (words, within = null) => (at) => at.tag === "BUTTON" && words.test(at.words) && (!within || at.within.includes(within));

// Presses what records something, and waits for the page that tells of it. A form that is refused leads nowhere: it is told.
async function press(page, key) {
  const from = page.url();
  await page.keyboard.press(key);
  await page.waitForFunction(
    (from) => (location.href !== from && document.readyState === "complete") || document.querySelector("#main .told") || document.querySelector("#kept li[data-state=refused]"),
    from,
    { timeout: 60_000 },
  );
  const told = await page.locator("#main .told, #kept li[data-state=refused]").allInnerTexts();
  assert.notEqual(page.url(), from, `no other page came of it: ${told.join(" | ")}`);
  await page.waitForLoadState("load");
}

async function sign(page, part, words) {
  await tabTo(page, `the PIN of ${part}`, (at) => at.type === "password" && at.within.includes(part));
  await page.keyboard.type(PIN);
  await tabTo(page, `the button of ${part}`, button(words, part));
  await press(page, "Enter");
  assert.match(await page.innerText("main"), /Recorded as no\./, part);
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

test("four people take a point from held to accepted with the keyboard alone", { timeout: 400_000 }, async () => {
  const people = {};
  for (const handle of ["tomas", "sofia", "jonas", "marit"]) people[handle] = await signIn(chromium, service.base, handle);
  const { tomas, sofia, jonas, marit } = people;
  const at = (page, path) => page.goto(`${service.base}/programmes/tallow${path}`);

  await at(tomas, "/points/TX-03");
  await sign(tomas, "plan-approval", /approve/i);
  await at(sofia, "/points/TX-03");
  await sign(sofia, "release", /release/i);
  await at(jonas, "/points/TX-03");
  await sign(jonas, "acknowledgement", /acknowledge/i);

  await at(marit, "/runs");
  await tabTo(marit, "TX-03", (it) => it.type === "checkbox" && /TX-03/.test(it.words));
  if (!(await marit.evaluate(() => document.activeElement.checked))) await marit.keyboard.press("Space");
  const crew = { Jonas: "test pilot on board", Ruth: "ground crew on the ground", Tomas: "engineer on the ground" };
  while (Object.keys(crew).length > 0) {
    const it = await tabTo(marit, Object.keys(crew).join(" or "), (it) => it.tag === "SELECT" && Object.keys(crew).some((name) => it.words.includes(name)));
    const name = Object.keys(crew).find((name) => it.words.includes(name));
    // Down until the seat is chosen, as one does without a mouse.
    for (let step = 0; step < 20; step += 1) {
      const chosen = await marit.evaluate(() => document.activeElement.selectedOptions[0].textContent);
      if (chosen === crew[name]) break;
      await marit.keyboard.press("ArrowDown");
    }
    delete crew[name];
  }
  await tabTo(marit, "opening", button(/Open the run/));
  await press(marit, "Enter");
  const run = /\/runs\/(\d+)/.exec(marit.url())?.[1];
  assert.ok(run, await marit.innerText("main"));
  for (const moment of [/Power on now/, /Off blocks now/, /On blocks now/, /Power off now/]) {
    await tabTo(marit, String(moment), button(moment));
    await press(marit, "Enter");
  }
  await tabTo(marit, "closing", button(/Close the run/));
  await press(marit, "Enter");

  await at(marit, `/runs/${run}/results/TX-03`);
  const typed = [[/planned/i, "28"], [/Ground speed/i, "28"], [/Winding/i, "52"], [/nsulation/i, "4050"], [/Distance to stop/i, "88"]];
  for (;;) {
    const it = await tabTo(marit, "a figure or the button", (it) => it.type === "number" || it.tag === "TEXTAREA" || button(/Record the result/)(it));
    if (it.tag === "BUTTON") break;
    if (/seen, heard/.test(it.words)) await marit.keyboard.type("Ran straight; brakes even.");
    const figure = typed.find(([words]) => words.test(it.words))?.[1];
    if (figure) {
      await marit.keyboard.press("Control+a");
      await marit.keyboard.type(figure);
    }
  }
  await press(marit, "Enter");
  assert.match(await marit.innerText("main"), /Verdict: met/);
  await at(tomas, `/runs/${run}/results/TX-03`);
  await sign(tomas, "engineering-acceptance", /accept/i);
  await at(sofia, `/runs/${run}/results/TX-03`);
  await sign(sofia, "safety-acceptance", /accept/i);
  await at(marit, "/points/TX-03");
  assert.match(await marit.innerText("main"), /accepted/i);
  for (const page of Object.values(people)) await page.context().close();
});
