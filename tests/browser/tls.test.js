// The pages over TLS with the data folder's own authority: they open, follow the ledger, and keep a run's notes where there is
// no signal. Browsers register service workers over a connection that they trust alone.

import assert from "node:assert/strict";
import { createHash, X509Certificate } from "node:crypto";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { entries, isKept, openRun, Phone } from "./phone.js";
import { signIn } from "./people.js";
import { browser, Demonstration } from "./service.js";

let service;
let others;
let phone;

before(async () => {
  service = await Demonstration.begin(0, ["--tls"]);
  others = await browser();
});

after(async () => {
  await phone?.end();
  await others?.close();
  await service?.end();
});

/// What makes Chromium take certificates of this authority as if the phone had been told to trust it, and no others.
function trusting(authority) {
  const key = new X509Certificate(readFileSync(authority)).publicKey.export({ type: "spki", format: "der" });
  return `--ignore-certificate-errors-spki-list=${createHash("sha256").update(key).digest("base64")}`;
}

test("over TLS a phone that trusts the authority follows the ledger, and notes a run without signal", { timeout: 400_000 }, async () => {
  assert.match(service.base, /^https:/);
  const stranger = await others.newPage();
  await assert.rejects(stranger.goto(service.base), /ERR_CERT/, "whoever does not trust the authority sees nothing");

  const path = `/programmes/tallow/runs/${await openRun(others, service, { ignoreHTTPSErrors: true })}`;
  phone = new Phone([trusting(join(service.folder, "data", "tls", "authority.pem"))]);
  const page = await phone.start();
  await phone.signIn(service.base, "marit");
  await page.goto(service.base + path);
  assert.ok(await page.evaluate(() => window.isSecureContext), "the connection is trusted");
  assert.ok(await page.evaluate(async () => (await navigator.serviceWorker.ready).active !== null), "the worker is registered");
  await isKept(page, [path, `${path}/cards`, `${path}/results/TX-03`]);

  // The stream: what somebody else does is shown.
  const ruth = await signIn(others, service.base, "ruth", { ignoreHTTPSErrors: true });
  await ruth.goto(service.base + path);
  await ruth.getByRole("button", { name: "Power on now" }).click();
  await ruth.waitForURL(/recorded=\d/);
  await ruth.context().close();
  await page.waitForFunction(() => !/Power on\s+not noted/.test(document.getElementById("main").innerText), null, { timeout: 30_000 });

  // Without signal: kept on the phone, and sent when there is one again.
  await phone.context.setOffline(true);
  await page.goto(`${service.base}${path}/results/TX-03`);
  await page.goto(service.base + path);
  await page.getByRole("button", { name: "Off blocks now" }).click();
  await page.locator("#kept li", { hasText: "Off blocks now" }).waitFor();
  assert.deepEqual((await entries(page)).map(([state]) => state), ["kept"]);
  await phone.context.setOffline(false);
  await page.locator("#kept li[data-state=recorded]").waitFor({ timeout: 60_000 });
  await page.goto(service.base + path);
  assert.doesNotMatch(await page.innerText("main"), /Off blocks\s+not noted/);
});
