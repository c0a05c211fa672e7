// What people write is shown as they wrote it, and never runs.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { kindsOfPages } from "./crawl.js";
import { signIn } from "./people.js";
import { browser, Demonstration, PASSWORD } from "./service.js";

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

// Ways to make a page run something, put together of how it is broken out of and what then runs: common practice, no source.
const OUT = ["", '">', "'>", "</title>", "</textarea>", "</style>", "</script>", "-->", "]]>", "\u2028"];
const RUNS = [
  "<script>ran()</script>",
  "<img src=x onerror=ran()>",
  "<svg onload=ran()>",
  "<svg><script>ran()</script></svg>",
  "<iframe srcdoc='<script>parent.ran()</script>'>",
  "<details open ontoggle=ran()>",
  '" autofocus onfocus=ran() x="',
  "<a href=javascript:ran()>press</a>",
  "<math><mi xlink:href=javascript:ran()>x</mi></math>",
  "<input autofocus onfocus=ran()>",
];
const PAYLOADS = OUT.flatMap((out) => RUNS.map((runs) => out + runs));

async function api(handle) {
  const told = await fetch(`${service.base}/api/v1/sessions`, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ handle, password: PASSWORD }),
  });
  const { access_token: token } = await told.json();
  return async (method, path, body) => {
    const answer = await fetch(`${service.base}/api/v1/programmes/tallow/${path}`, {
      method,
      headers: { authorization: `Bearer ${token}`, "content-type": "application/json", "if-match": "*" },
      body: body && JSON.stringify(body),
    });
    const text = await answer.text();
    return { status: answer.status, json: text && JSON.parse(text) };
  };
}

test("a hundred payloads in what people write run on no page", { timeout: 600_000 }, async () => {
  assert.equal(PAYLOADS.length, 100);
  const pilot = await api("jonas");
  const crew = await api("ruth");
  const statuses = [];
  for (const [place, payload] of PAYLOADS.entries()) {
    const snag = { title: `${place} ${payload}`, grounding: false, severity: "negligible" };
    statuses.push((await crew("POST", "snags", snag)).status);
    if (place % 10 === 0) {
      const weather = { wind: { value: 4, unit: "kt" }, remarks: PAYLOADS.slice(place, place + 10).join(" ") };
      statuses.push((await crew("POST", "weather", weather)).status);
      const some = PAYLOADS.slice(place, place + 10).join(" ");
      statuses.push((await crew("POST", "checks/C-BRAKE/done", { passed: true, findings: some })).status);
      statuses.push((await crew("POST", "happenings", { event: "hard-landing", account: some })).status);
      statuses.push((await crew("POST", "snags/1/work", { action: some })).status);
    }
  }
  const engineer = await api("tomas");
  for (let place = 0; place < 100; place += 10) {
    const ten = PAYLOADS.slice(place, place + 10).join(" ");
    const risk = { severity: "marginal", probability: "remote" };
    const hazard = { code: `HZ-P${place}`, title: PAYLOADS[place].replaceAll("\u2028", ""), cause: ten, effect: ten, before: risk, mitigations: [PAYLOADS[place + 1].replaceAll("\u2028", "")], after: risk };
    statuses.push((await engineer("PUT", `hazards/${hazard.code}`, hazard)).status);
    const fitting = { title: PAYLOADS[place + 2].replaceAll("\u2028", ""), kind: "part", version: `v${place}`, reason: ten };
    statuses.push((await engineer("PUT", `configuration/items/item-p${place}`, fitting)).status);
    const file = { format: "csv", time: { column: "t", form: "unix-s" } };
    const columns = [{ column: PAYLOADS[place + 3].replaceAll("\u2028", ""), channel: "pack_v", unit: "V" }];
    const recorder = { code: `p${place}`, title: PAYLOADS[place + 4].replaceAll("\u2028", ""), file, columns };
    statuses.push((await engineer("PUT", `recorders/${recorder.code}`, recorder)).status);
  }
  statuses.push((await pilot("POST", "stand-down", { reason: PAYLOADS.slice(0, 20).join(" ") })).status);
  assert.ok(statuses.some((status) => status < 300), `something was taken: ${statuses.slice(0, 5)}`);

  const ran = [];
  const page = await signIn(chromium, service.base, "marit");
  await page.exposeFunction("ran", () => ran.push(page.url()));
  page.on("dialog", (dialog) => {
    ran.push(`${page.url()}: a dialog`);
    dialog.dismiss();
  });
  for (const path of await kindsOfPages(page, { each: 3 })) {
    await page.goto(service.base + path);
    await page.waitForTimeout(50);
  }
  await page.context().close();
  assert.deepEqual(ran, []);
});
