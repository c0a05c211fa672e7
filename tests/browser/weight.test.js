// What pages weigh on the way to a phone at the edge of the field: bytes as they are sent, by Chromium's own count.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration, PASSWORD } from "./service.js";

const FIRST_AT_MOST = 80_000;
const AGAIN_AT_MOST = 8_000;
// 50 kbit/s either way, and the delay of a poor mobile network.
const POOR = { offline: false, latency: 300, downloadThroughput: 50_000 / 8, uploadThroughput: 50_000 / 8 };

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

// Counts bytes of answers, headers with them, from now on.
async function scales(page) {
  const session = await page.context().newCDPSession(page);
  await session.send("Network.enable");
  const weighed = { bytes: 0 };
  const cached = new Set();
  session.on("Network.requestServedFromCache", ({ requestId }) => cached.add(requestId));
  session.on("Network.responseReceived", ({ requestId, response }) => {
    if (response.fromDiskCache || response.fromServiceWorker) cached.add(requestId);
  });
  session.on("Network.loadingFinished", ({ requestId, encodedDataLength }) => {
    if (!cached.has(requestId)) weighed.bytes += encodedDataLength;
  });
  return { session, weighed };
}

test("a first visit weighs at most 80 kB and a later one at most 8 kB", { timeout: 300_000 }, async () => {
  const context = await chromium.newContext({ serviceWorkers: "block" });
  const page = await context.newPage();
  const { weighed } = await scales(page);
  await page.goto(`${service.base}/programmes/tallow`, { waitUntil: "load" });
  await page.getByLabel(/handle/i).fill("jonas");
  await page.getByLabel(/password/i).fill(PASSWORD);
  await page.getByRole("button", { name: /sign in/i }).click();
  await page.waitForURL(/tallow$/);
  await page.waitForLoadState("load");
  await page.waitForTimeout(300);
  console.log(`first visit, signing in and the programme: ${weighed.bytes} bytes`);
  assert.ok(weighed.bytes > 2000, "something was weighed");
  assert.ok(weighed.bytes <= FIRST_AT_MOST, `${weighed.bytes} bytes`);
  const heavy = [];
  for (const path of ["", "/runs", "/runs/1", "/points/TX-03", "/points/TX-03/card", "/stand-down", "/ladder", "/ladder?as=list", "/today", "/runs/1/briefing", "/runs/1/results/ST-01"]) {
    await page.goto(`${service.base}/programmes/tallow${path}`, { waitUntil: "load" });
    weighed.bytes = 0;
    await page.goto(`${service.base}/programmes/tallow${path}`, { waitUntil: "load" });
    // The count of a page comes a moment after the page.
    await page.waitForTimeout(300);
    assert.ok(weighed.bytes > 500, `${path}: the page itself was weighed`);
    console.log(`again, ${path || "programme"}: ${weighed.bytes} bytes`);
    if (weighed.bytes > AGAIN_AT_MOST) heavy.push(`${path}: ${weighed.bytes} bytes`);
  }
  assert.deepEqual(heavy, []);
  await context.close();
});

test("at 50 kbit/s a page can be used within ten seconds, the first time too", { timeout: 300_000 }, async () => {
  const signedIn = await signIn(chromium, service.base, "jonas");
  const cookies = await signedIn.context().cookies();
  await signedIn.context().close();
  const context = await chromium.newContext({ serviceWorkers: "block", viewport: { width: 390, height: 844 } });
  await context.addCookies(cookies);
  const page = await context.newPage();
  const { session } = await scales(page);
  await session.send("Network.emulateNetworkConditions", POOR);
  for (const path of ["/runs/1", ""]) {
    const from = Date.now();
    await page.goto(`${service.base}/programmes/tallow${path}`, { waitUntil: "domcontentloaded", timeout: 10_000 });
    await page.getByRole("link", { name: "Stop everything" }).click({ trial: true, timeout: 10_000 - (Date.now() - from) });
    console.log(`${path || "programme"} at 50 kbit/s: usable after ${Date.now() - from} ms`);
  }
  await context.close();
});
