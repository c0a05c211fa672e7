// A phone on the field: a browser whose storage outlives it, and a run for it to note.

import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

import { chromium } from "playwright-core";

import { signIn } from "./people.js";
import { PASSWORD, PIN } from "./service.js";

const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";

/// A phone: a browser whose storage outlives it.
export class Phone {
  /// `trusts`: what else the browser is started with, such as whose certificate it takes.
  constructor(trusts = []) {
    this.trusts = trusts;
    this.folder = mkdtempSync(join(tmpdir(), "rungbook-phone-"));
  }

  async start() {
    this.context = await chromium.launchPersistentContext(this.folder, {
      executablePath: CHROMIUM,
      args: ["--no-sandbox", "--disable-dev-shm-usage", ...this.trusts],
      viewport: { width: 390, height: 844 },
    });
    this.page = this.context.pages()[0] ?? (await this.context.newPage());
    return this.page;
  }

  /// Kills the browser at once, as a phone that falls on the apron does.
  async kill() {
    const session = await this.context.browser()?.newBrowserCDPSession().catch(() => null);
    if (session) await session.send("Browser.crash").catch(() => {});
    await this.context.close().catch(() => {});
  }

  async signIn(base, handle) {
    await this.page.goto(`${base}/sign-in`);
    await this.page.getByLabel(/handle/i).fill(handle);
    await this.page.getByLabel(/password/i).fill(PASSWORD);
    await this.page.getByRole("button", { name: /sign in/i }).click();
    await this.page.waitForURL((url) => url.pathname !== "/sign-in");
  }

  async end() {
    await this.context?.close().catch(() => {});
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/// Opens a run of TX-03, with everything signed; gives its number.
export async function openRun(browser, service, options = {}) {
  const at = (page, path) => page.goto(`${service.base}/programmes/tallow${path}`);
  const people = {};
  for (const handle of ["tomas", "sofia", "jonas", "marit"]) people[handle] = await signIn(browser, service.base, handle, options);
  for (const [handle, part, words] of [["tomas", "plan-approval", /approve/i], ["sofia", "release", /release/i], ["jonas", "acknowledgement", /acknowledge/i]]) {
    await at(people[handle], "/points/TX-03");
    const section = people[handle].locator(`section#${part}`);
    await section.getByLabel(/PIN/).first().fill(PIN);
    await section.getByRole("button", { name: words }).first().click();
    await people[handle].waitForURL(/recorded=/);
  }
  const { marit } = people;
  await at(marit, "/runs");
  await marit.getByLabel(/TX-03/).check();
  await marit.getByLabel(/Jonas/).selectOption({ label: "test pilot on board" });
  await marit.getByLabel(/Tomas/).selectOption({ label: "engineer on the ground" });
  await marit.getByLabel(/Ruth/).selectOption({ label: "ground crew on the ground" });
  await marit.getByRole("button", { name: "Open the run" }).click();
  await marit.waitForURL(/\/runs\/\d+/);
  const run = /\/runs\/(\d+)/.exec(marit.url())[1];
  for (const page of Object.values(people)) await page.context().close();
  return run;
}

/// Waits until the worker has kept the run, its cards and its result's form.
export async function isKept(page, paths) {
  await page.waitForFunction(async (paths) => {
    const kept = [];
    for (const name of await caches.keys()) {
      if (!name.startsWith("rungbook-pages-")) continue;
      kept.push(...(await (await caches.open(name)).keys()).map((request) => new URL(request.url).pathname));
    }
    return paths.every((path) => kept.includes(path));
  }, paths, { timeout: 30_000, polling: 200 });
}

/// What is kept on the device: the state of each and its words.
export const entries = (page) => page.locator("#kept li[data-entry]").evaluateAll((all) => all.map((it) => [it.dataset.state, it.innerText]));
