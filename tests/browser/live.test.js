// Pages that are open show what others do, without a word lost of what somebody types in them.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration, PASSWORD, PIN } from "./service.js";

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

const at = (page, path) => page.goto(`${service.base}/programmes/tallow${path}`);

async function approve(page, point) {
  await at(page, `/points/${point}`);
  const section = page.locator("section#plan-approval");
  await section.getByLabel(/PIN/).first().fill(PIN);
  await section.getByRole("button", { name: /approve/i }).first().click();
  await page.waitForURL(/recorded=/);
  return Number(/recorded=(\d+)/.exec(page.url())[1]);
}

async function standsDown(page) {
  await at(page, "/stand-down");
  await page.getByLabel("Why", { exact: true }).first().fill("Smoke seen from the hangar");
  await page.getByRole("button", { name: "Call a stand-down" }).click();
  await page.waitForURL(/recorded=/);
  return Number(/recorded=(\d+)/.exec(page.url())[1]);
}

// Waits until a page has caught up with a record, and tells how long that took from when the other's browser knew of it.
async function caughtUp(page, seq) {
  const from = Date.now();
  await page.waitForFunction((seq) => Number(document.getElementById("main").dataset.seq) >= seq, seq, { timeout: 10_000, polling: 20 });
  return Date.now() - from;
}

test("the ladder, the programme and a point show what another person does, and say so", { timeout: 180_000 }, async () => {
  const watchers = [];
  for (const path of ["/ladder", "", "/points/TX-03"]) {
    const page = await signIn(chromium, service.base, "sofia");
    await at(page, path);
    watchers.push({ path, page });
  }
  const point = watchers[2].page;
  await point.locator("a[href$='/points/TX-03/card']").first().focus();
  const tomas = await signIn(chromium, service.base, "tomas");
  const seq = await approve(tomas, "TX-03");
  const took = await Promise.all(watchers.map(({ page }) => caughtUp(page, seq)));
  // Told and not held against a figure: how long it takes is the machine's matter too.
  watchers.forEach(({ path }, place) => console.log(`${path || "programme"}: shown ${took[place]} ms after the record was known to whoever made it`));
  for (const { page } of watchers) {
    assert.match(await page.locator("#news").innerText(), new RegExp(`to record no\\. ${seq}`));
    assert.equal(await page.locator("#news").getAttribute("aria-live"), "polite");
  }
  assert.match(await point.innerText("main"), /Tomas/);
  const focused = await point.evaluate(() => document.activeElement.getAttribute("href"));
  assert.match(focused ?? "", /\/points\/TX-03\/card$/, "the focus is where it was");
  for (const { page } of watchers) await page.context().close();
  await tomas.context().close();
});

test("who types keeps what they typed, is told that there is more, and sees it when they ask", { timeout: 180_000 }, async () => {
  const sofia = await signIn(chromium, service.base, "sofia");
  await at(sofia, "/points/TX-05");
  const reasons = sofia.locator("main textarea, main input[type=text]").first();
  await reasons.evaluate((field) => { for (let it = field; it; it = it.parentElement) if (it.tagName === "DETAILS") it.open = true; });
  const field = await reasons.getAttribute("name");
  await reasons.fill("Not before the brake is looked at");
  const typed = () => sofia.locator(`main [name="${field}"]`).first().inputValue();
  const seen = await sofia.locator("#main").getAttribute("data-seq");
  const tomas = await signIn(chromium, service.base, "tomas");
  const seq = await standsDown(tomas);
  await sofia.getByText(`New: record no. ${seq}.`).waitFor({ timeout: 10_000 });
  assert.equal(await sofia.locator("#main").getAttribute("data-seq"), seen, "the page is as it was");
  assert.equal(await typed(), "Not before the brake is looked at");
  await sofia.getByRole("button", { name: "Show it" }).click();
  await caughtUp(sofia, seq);
  assert.equal(await typed(), "Not before the brake is looked at", "what was typed came along");
  await sofia.context().close();
  await tomas.context().close();
});

test("a page whose session ended elsewhere says so, and one that lost its connection catches up", { timeout: 180_000 }, async () => {
  const jonas = await signIn(chromium, service.base, "jonas");
  await at(jonas, "/ladder");
  const other = await jonas.context().newPage();
  await at(other, "");
  await jonas.bringToFront();
  await jonas.context().setOffline(true);
  const marit = await signIn(chromium, service.base, "marit");
  const seq = await standsDown(marit);
  await jonas.context().setOffline(false);
  await caughtUp(jonas, seq);
  assert.match(await jonas.locator("[data-part=stand-down]").innerText(), /Stand-down in force/);
  await other.getByRole("button", { name: "Sign out" }).click();
  await other.waitForURL(/sign-in/);
  await jonas.getByText("You have been signed out.").waitFor({ timeout: 30_000 });
  await jonas.context().close();
  await marit.context().close();
});

test("a session that ends closes the stream, and what is typed is sent after signing in again beside the page", { timeout: 180_000 }, async () => {
  const jonas = await signIn(chromium, service.base, "jonas");
  await at(jonas, "/points/TX-06");
  const reasons = jonas.locator("main textarea").first();
  await reasons.evaluate((field) => { for (let it = field; it; it = it.parentElement) if (it.tagName === "DETAILS") it.open = true; });
  await reasons.fill("The crosswind is not what the card says");

  // The same session listens by itself, so that one sees what it is told and when it ends.
  const cookies = (await jonas.context().cookies()).map(({ name, value }) => `${name}=${value}`).join("; ");
  const listens = await fetch(`${service.base}/programmes/tallow/events`, { headers: { cookie: cookies, accept: "text/event-stream" } });
  assert.equal(listens.status, 200);
  const heard = listens.text().catch(() => "");
  const other = await jonas.context().newPage();
  await at(other, "");
  await other.getByRole("button", { name: "Sign out" }).click();
  await other.waitForURL(/sign-in/);
  const told = await Promise.race([heard, new Promise((late) => setTimeout(() => late(null), 20_000))]);
  assert.notEqual(told, null, "the stream has ended");
  const refused = await fetch(`${service.base}/programmes/tallow/events`, { headers: { cookie: cookies, accept: "text/event-stream" } });
  assert.equal(refused.status, 401, "and is not opened again");

  await jonas.getByText("You have been signed out, and nothing can be sent from here.").waitFor({ timeout: 30_000 });
  const [beside] = await Promise.all([jonas.context().waitForEvent("page"), jonas.getByRole("link", { name: "Sign in again" }).click()]);
  await beside.getByLabel(/handle/i).fill("jonas");
  await beside.getByLabel(/password/i).fill(PASSWORD);
  await beside.getByRole("button", { name: /sign in/i }).click();
  await beside.waitForURL(/points\/TX-06/);
  await jonas.bringToFront();
  await jonas.evaluate(() => window.dispatchEvent(new Event("focus")));
  await jonas.getByText("You are signed in again.").waitFor({ timeout: 10_000 });
  assert.equal(await reasons.inputValue(), "The crosswind is not what the card says");
  const form = jonas.locator("main form", { has: jonas.locator("textarea") }).first();
  const secret = form.locator("input[type=password]");
  if (await secret.count()) await secret.fill(PIN);
  await form.getByRole("button").first().click();
  await jonas.waitForURL(/recorded=\d/);
  await jonas.context().close();
});
