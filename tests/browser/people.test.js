// The main job as four people, each in a browser of their own, from a held point to an accepted result and its hours; without scripts too.

import assert from "node:assert/strict";
import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration, PIN } from "./service.js";

const SHOTS = process.env.SCREENSHOTS;
let chromium;

before(async () => {
  chromium = await browser();
});

after(async () => {
  await chromium?.close();
});

async function shot(page, name) {
  if (!SHOTS) return;
  mkdirSync(SHOTS, { recursive: true });
  await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: true });
}

async function sign(page, part, button) {
  const section = page.locator(`section#${part}`);
  await section.getByLabel(/PIN/).first().fill(PIN);
  await section.getByRole("button", { name: button }).first().click();
  await page.waitForLoadState("load");
  const told = await page.getByRole("status").first().innerText().catch(() => page.innerText("main"));
  assert.match(told, /Recorded as no\./, `${part}: ${told}`);
}

/// Presses what records something, and waits until the page tells of it. With scripts the form is sent by them.
async function record(page, name) {
  const before = page.url();
  await page.getByRole("button", { name }).first().click();
  await page.waitForURL((url) => url.href !== before && /recorded=\d/.test(url.search));
  await page.waitForLoadState("load");
}

for (const javaScriptEnabled of [false, true]) {
  test(`four people take a point from held to accepted, ${javaScriptEnabled ? "with" : "without"} scripts`, { timeout: 300_000 }, async () => {
    const service = await Demonstration.begin();
    try {
      const phone = { javaScriptEnabled, viewport: { width: 390, height: 844 } };
      const people = {};
      for (const handle of ["tomas", "sofia", "jonas", "marit"]) people[handle] = await signIn(chromium, service.base, handle, phone);
      const { tomas, sofia, jonas, marit } = people;
      const at = (page, path) => page.goto(`${service.base}/programmes/tallow${path}`);
      await shot(marit, `home-${javaScriptEnabled}`);

      await at(tomas, "/points/TX-03");
      await shot(tomas, `point-held-${javaScriptEnabled}`);
      assert.match(await tomas.innerText("main"), /Yours to sign now: Approval of the plan/);
      await sign(tomas, "plan-approval", /approve/i);
      await at(sofia, "/points/TX-03");
      await sign(sofia, "release", /release/i);
      await at(jonas, "/points/TX-03");
      await sign(jonas, "acknowledgement", /acknowledge/i);
      assert.match(await jonas.innerText("main"), /Next: open a run with it/);
      await at(jonas, "/points/TX-03/card");
      assert.match(await jonas.innerText("main"), /TX-03/);
      await shot(jonas, `card-${javaScriptEnabled}`);

      await at(marit, "/runs");
      await marit.getByLabel(/TX-03/).check();
      await marit.getByLabel(/Jonas/).selectOption({ label: "test pilot on board" });
      await marit.getByLabel(/Tomas/).selectOption({ label: "engineer on the ground" });
      await marit.getByLabel(/Ruth/).selectOption({ label: "ground crew on the ground" });
      await marit.getByRole("button", { name: "Open the run" }).click();
      await marit.waitForLoadState("load");
      assert.match(marit.url(), /\/runs\/\d+/, await marit.innerText("main"));
      const run = /\/runs\/(\d+)/.exec(marit.url())[1];
      await shot(marit, `run-open-${javaScriptEnabled}`);
      for (const moment of ["Power on now", "Off blocks now", "On blocks now", "Power off now"]) {
        await record(marit, moment);
      }
      await marit.getByLabel(/worth saying/).fill("Straight and quiet.");
      await record(marit, "Close the run");

      await at(marit, `/runs/${run}/results/TX-03`);
      await shot(marit, `result-form-${javaScriptEnabled}`);
      const typed = [[/planned/i, "28"], [/Ground speed/i, "28"], [/Winding/i, "52"], [/nsulation/i, "4050"], [/Distance to stop/i, "88"]];
      for (const [label, figure] of typed) {
        for (const field of await marit.getByLabel(label).all()) await field.fill(figure);
      }
      await marit.getByLabel(/seen, heard/).fill("Ran straight; brakes even.");
      await record(marit, "Record the result");
      await shot(marit, `result-${javaScriptEnabled}`);
      assert.match(await marit.innerText("main"), /Verdict: met/);

      await at(tomas, `/runs/${run}/results/TX-03`);
      await sign(tomas, "engineering-acceptance", /accept/i);
      await at(sofia, `/runs/${run}/results/TX-03`);
      await sign(sofia, "safety-acceptance", /accept/i);
      assert.match(await sofia.innerText("main"), /Next: what can be done next/);
      await at(marit, "/points/TX-03");
      assert.match(await marit.innerText("main"), /accepted/i);
      await at(marit, "");
      await shot(marit, `programme-after-${javaScriptEnabled}`);
      await at(marit, "/ladder");
      await shot(marit, `ladder-${javaScriptEnabled}`);
      for (const page of Object.values(people)) await page.context().close();
    } finally {
      await service.end();
    }
  });
}
