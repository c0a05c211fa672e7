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
  return async (method, path, body, type = "application/json") => {
    const answer = await fetch(`${service.base}/api/v1/programmes/tallow/${path}`, {
      method,
      headers: { authorization: `Bearer ${token}`, "content-type": type, ...(path === "aircraft" && method === "PUT" ? { "if-match": "*" } : {}) },
      body: typeof body === "string" ? body : body && JSON.stringify(body),
    });
    const text = await answer.text();
    return { status: answer.status, json: text && JSON.parse(text) };
  };
}

// People, recordings, what a forecast rests on, plans of days, policies and aircraft: each field and what was answered.
async function newerFields() {
  const [lead, engineer] = [await api("marit"), await api("tomas")];
  const plain = (place) => PAYLOADS[place].replaceAll("\u2028", "");
  const took = [];
  const put = async (who, method, path, body) => took.push([path, (await who(method, path, body)).status]);
  for (const place of [20, 40, 60, 80]) {
    await put(lead, "PUT", `people/guest-${place}`, { handle: `guest-${place}`, name: plain(place), roles: ["viewer"], qualifications: [] });
  }
  const rows = Array.from({ length: 20 }, (_, second) => `${1.7e9 + second};${300 + second}`);
  const name = encodeURIComponent(`${plain(31)}.csv`);
  const file = { format: "csv", delimiter: ";", time: { column: "t", form: "unix-s" } };
  await put(engineer, "PUT", "recorders/stick", { code: "stick", title: plain(32), file, columns: [{ column: "u", channel: "pack_v", unit: "V" }] });
  const sent = await engineer("POST", `recordings?recorder=stick&name=${name}`, ["t;u", ...rows, ""].join("\n"), "text/csv");
  took.push(["recordings", sent.status]);
  const { assumptions } = (await lead("GET", "forecast-assumptions")).json;
  const deliveries = assumptions.deliveries.map((it) => ({ ...it, what: plain(51) }));
  await put(lead, "POST", "forecast-assumptions", { ...assumptions, deliveries });
  await put(lead, "POST", "forecasts", { trials: 50, seed: 3 });
  // The newest plan, of a day to come.
  const [{ plan }] = (await lead("GET", "day-plans")).json.items;
  const { terms } = (await lead("GET", `day-plans/${plan}`)).json;
  await put(lead, "POST", "day-plans", { terms: { ...terms, parts: terms.parts.map((part, place) => ({ ...part, name: plain(71 + place) })) } });
  const aircraft = (await lead("GET", "aircraft")).json;
  const loading = aircraft.loading.map((it) => ({ ...it, name: plain(94) }));
  await put(lead, "PUT", "aircraft", { ...aircraft, name: plain(91), airfield: plain(92), description: plain(93), loading });
  return took;
}

test("a hundred payloads in what people write run on no page", { timeout: 600_000 }, async () => {
  assert.equal(PAYLOADS.length, 100);
  const pilot = await api("jonas");
  const crew = await api("ruth");
  const statuses = [];
  const taken = [];
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
    taken.push([hazard.code, (await engineer("PUT", `hazards/${hazard.code}`, hazard)).status]);
    const fitting = { title: PAYLOADS[place + 2].replaceAll("\u2028", ""), kind: "part", version: `v${place}`, reason: ten };
    taken.push([`item-p${place}`, (await engineer("PUT", `configuration/items/item-p${place}`, fitting)).status]);
    const file = { format: "csv", time: { column: "t", form: "unix-s" } };
    const columns = [{ column: PAYLOADS[place + 3].replaceAll("\u2028", ""), channel: "pack_v", unit: "V" }];
    const recorder = { code: `p${place}`, title: PAYLOADS[place + 4].replaceAll("\u2028", ""), file, columns };
    taken.push([recorder.code, (await engineer("PUT", `recorders/${recorder.code}`, recorder)).status]);
  }
  taken.push(...(await newerFields()));
  statuses.push((await pilot("POST", "stand-down", { reason: PAYLOADS.slice(0, 20).join(" ") })).status);
  assert.ok(statuses.some((status) => status < 300), `something was taken: ${statuses.slice(0, 5)}`);

  // Fields that say by themselves whether they took something: none may drop out of the test unseen.
  assert.deepEqual(taken.filter(([, status]) => status >= 300), []);

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
