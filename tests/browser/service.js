// A running program with a folder of its own, and a browser in which people speak to it.

import { spawn } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { createInterface } from "node:readline";

import { chromium } from "playwright-core";

const PROGRAM = process.env.PROGRAM ?? "target/debug/rungbook";
const CHROMIUM = process.env.CHROMIUM ?? "/usr/bin/chromium";

/// What everybody signs in with and signs with in the demonstration.
export const PASSWORD = "one rung at a time";
export const PIN = "271845";

/// Where the demonstration is kept from one file of tests to the next, since playing its past takes many seconds. What it tells
/// of the present, such as the age of an observation, is not true for long.
const MADE = process.env.DEMONSTRATIONS;
const GOOD_FOR_MS = 10 * 60_000;

async function copiedInto(folder) {
  const made = join(MADE, "made");
  const marker = join(made, "whole");
  if (!existsSync(marker) || Date.now() - statSync(marker).mtimeMs > GOOD_FOR_MS) {
    rmSync(made, { recursive: true, force: true });
    mkdirSync(made);
    const service = new Demonstration(made, []);
    await service.serve(0);
    await service.kill();
    writeFileSync(marker, "");
  }
  cpSync(join(made, "data"), join(folder, "data"), { recursive: true });
}

/// The demonstration, in a fresh folder, on a free port.
export class Demonstration {
  static async begin(port = 0, options = []) {
    const folder = mkdtempSync(join(tmpdir(), "rungbook-browser-"));
    if (MADE) await copiedInto(folder);
    const service = new Demonstration(folder, options);
    await service.serve(port);
    return service;
  }

  constructor(folder, options) {
    this.folder = folder;
    this.options = options;
  }

  /// Starts the program, or starts it again on the same folder and port.
  async serve(port) {
    this.child = spawn(PROGRAM, ["demo", "--listen", `127.0.0.1:${port}`, "--data", join(this.folder, "data"), ...this.options], {
      stdio: ["ignore", "pipe", "inherit"],
      env: { ...process.env, RUNGBOOK_LOG: "error" },
    });
    this.base = await new Promise((told, failed) => {
      createInterface({ input: this.child.stdout }).on("line", (line) => {
        const found = /^Rungbook serves .* on (https?:\/\/\S+)/.exec(line);
        if (found) told(found[1].replace(/[./]+$/, ""));
      });
      this.child.once("exit", (code) => failed(new Error(`the program ended with ${code} before it served`)));
    });
    this.port = Number(new URL(this.base).port);
  }

  /// Kills the program at once, as a battery that runs empty does.
  async kill() {
    const gone = new Promise((done) => this.child.once("exit", done));
    this.child.kill("SIGKILL");
    await gone;
  }

  async serveAgain() {
    await this.serve(this.port);
  }

  async end() {
    if (this.child.exitCode === null && this.child.signalCode === null) await this.kill();
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/// Debian's Chromium, without a window.
export async function browser() {
  return await chromium.launch({ executablePath: CHROMIUM, args: ["--no-sandbox", "--disable-dev-shm-usage"] });
}
