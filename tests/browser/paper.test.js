// What goes to paper, as Chromium prints it: read back from the PDF, page by page.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { browser, Demonstration } from "./service.js";

const SHOTS = process.env.SCREENSHOTS;
const A4 = [595, 842];
const A5 = [420, 595];

let service;
let chromium;
let folder;

before(async () => {
  service = await Demonstration.begin();
  chromium = await browser();
  folder = mkdtempSync(join(tmpdir(), "rungbook-paper-"));
});

after(async () => {
  await chromium?.close();
  await service?.end();
  rmSync(folder, { recursive: true, force: true });
});

// The pages of a PDF: how large each is in points, and its text.
function pagesOf(pdf, name) {
  const file = join(folder, `${name}.pdf`);
  writeFileSync(file, pdf);
  if (SHOTS) {
    mkdirSync(SHOTS, { recursive: true });
    writeFileSync(join(SHOTS, `${name}.pdf`), pdf);
  }
  const told = execFileSync("pdfinfo", ["-f", "1", "-l", "999", file], { encoding: "utf8" });
  const sizes = [...told.matchAll(/^Page\s+\d+ size:\s+([\d.]+) x ([\d.]+)/gm)].map(([, width, height]) => [Math.round(width), Math.round(height)]);
  const texts = execFileSync("pdftotext", ["-layout", file, "-"], { encoding: "utf8" }).split("\f").slice(0, sizes.length);
  return sizes.map((size, place) => ({ size, text: texts[place].replace(/\s+/g, " ") }));
}

const ALWAYS = [/Tallowmere electric tug/, /Ledger: \d+ records, root [0-9a-f ]{64}/, /clears nobody to fly/, /High-voltage DC/];

const PAPERS = [
  ["card", "/points/TX-03/card", A5, [/TX-03 · Taxi at 28 kt/, /Stop at once/, /L-WINDING-TIME/, /Fitted .*battery P2/, /Digest of this card [0-9a-f ]{64}/], 3],
  ["cards-of-a-run", "/runs/12/cards", A5, [/Stop at once/, /Fitted/, /Digest of this card/], 9],
  ["briefing", "/runs/12/briefing", A4, [/Configuration [0-9a-f]{12}/, /Anyone may stop/, /Fire watch/, /Fitted/, /Cards: [A-Z]+-\d+ [0-9a-f ]{64}/], 3],
];

async function prints(page, path) {
  await page.goto(`${service.base}/programmes/tallow${path}`);
  return page.pdf({ preferCSSPageSize: true, printBackground: false });
}

function holds(name, pages, size, parts, most) {
  const whole = pages.map(({ text }) => text).join(" ");
  assert.ok(pages.length <= most, `${name} has ${pages.length} pages`);
  for (const [place, page] of pages.entries()) {
    assert.deepEqual(page.size, size, `${name}, page ${place + 1}`);
    assert.match(page.text, new RegExp(`page ${place + 1} of ${pages.length}`), name);
    assert.ok(page.text.length > 60, `${name}: page ${place + 1} is empty`);
  }
  for (const part of parts) assert.match(whole, part, name);
}

test("cards and briefing are whole on paper, with page n of N, what they were made of, and the cautions", { timeout: 300_000 }, async () => {
  const page = await signIn(chromium, service.base, "jonas");
  for (const [name, path, size, parts, most] of PAPERS) holds(name, pagesOf(await prints(page, path), name), size, [...ALWAYS, ...parts], most);
  await page.context().close();
});

test("the summary of a test day is whole on paper, with its checkpoint", { timeout: 300_000 }, async () => {
  const page = await signIn(chromium, service.base, "marit");
  await page.goto(`${service.base}/programmes/tallow/days`);
  const day = await page.locator("main a[href*='/days/']").first().getAttribute("href");
  const pdf = await prints(page, day.replace("/programmes/tallow", ""));
  holds("evening", pagesOf(pdf, "evening"), A4, [/Tallowmere electric tug/, /Checkpoint/i, /clears nobody to fly/, /High-voltage DC/], 3);
  await page.context().close();
});
