// From a plan to hours, by the types that openapi-typescript makes of the description and the client that reads them.
//
//     node story.js BASE
//
// Every path, body and reply is of those types: what the description does not have does not compile.

import { strict as assert } from "node:assert";

import createClient, { type Client } from "openapi-fetch";

import type { components, paths } from "./description.js";

type Schemas = components["schemas"];
type Person = Client<paths>;

const PASSWORD = "a long password for stories";
const POINT = { programme: "small", point: "GR-03" };
const baseUrl = process.argv[2] ?? assert.fail("say where the service answers");

const anyone = createClient<paths>({ baseUrl });

async function signedIn(handle: string): Promise<Person> {
  const { data, error } = await anyone.POST("/api/v1/sessions", { body: { handle, password: PASSWORD } });
  assert(data, error?.detail);
  return createClient<paths>({ baseUrl, headers: { Authorization: `Bearer ${data.access_token}` } });
}

const refused = await anyone.POST("/api/v1/sessions", { body: { handle: "lea", password: "not the password" } });
assert.equal(refused.error?.code, "sign-in-refused");
const cas = await signedIn("cas");
const eve = await signedIn("eve");
const lea = await signedIn("lea");
const pip = await signedIn("pip");
const sam = await signedIn("sam");

async function held(): Promise<string[]> {
  const { data, error } = await lea.GET("/api/v1/programmes/{programme}/points/{point}/holds", { params: { path: POINT } });
  assert(data, error?.detail);
  return data.holds.map((hold) => hold.rule);
}

async function rung(person: Person): Promise<Schemas["Rung"]> {
  const { data, error } = await person.GET("/api/v1/programmes/{programme}/points/{point}", { params: { path: POINT } });
  assert(data, error?.detail);
  return data;
}

/// What somebody sees who is about to sign a part.
async function digest(person: Person, part: Schemas["PartName"]): Promise<Schemas["Digest"]> {
  const found = (await rung(person)).to_sign.parts.find((it) => it.part === part);
  assert(found?.digest, `there is no ${part} to sign`);
  return found.digest;
}

async function asks(person: Person, body: Schemas["Signed_SignOff"]) {
  return await person.POST("/api/v1/programmes/{programme}/points/{point}/sign-offs", { params: { path: POINT }, body });
}

async function signs(person: Person, body: Schemas["Signed_SignOff"]): Promise<Schemas["Written_SignedOff"]> {
  const { data, error } = await asks(person, body);
  assert(data, error?.detail);
  return data;
}

// The lead plans a point, and nothing of it can go ahead yet.
const plan: Schemas["Point"] = {
  code: POINT.point,
  title: "Third run",
  phase: "ground-run",
  objective: "Show that it turns for long.",
  technique: "Run up to 10 kW and hold it.",
  duration_min: 10,
  energy_kwh: 1,
  most_on_board: 1,
  stop_criteria: ["Smoke."],
  criteria: [{ parameter: "motor_temp", statistic: "max", comparison: "at-most", value: 60, unit: "degC" }],
};
const asNew = { params: { path: POINT, header: { "If-None-Match": "*" } }, body: plan };
const planned = await lea.PUT("/api/v1/programmes/{programme}/points/{point}", asNew);
assert.equal(planned.response.status, 201);
assert(planned.response.headers.get("etag"));
const again = await lea.PUT("/api/v1/programmes/{programme}/points/{point}", asNew);
assert.equal(again.error?.status, 412);
const atFirst = await held();
assert(atFirst.includes("plan-not-approved") && atFirst.includes("release-missing"), atFirst.join());

// Its conditions are met: the check, the approval, the release by the safety officer and by nobody else, the card.
const checked = await cas.POST("/api/v1/programmes/{programme}/checks/{check}/done", {
  params: { path: { programme: "small", check: "C-ISO" } },
  body: { passed: true, findings: "2.1 MΩ at 500 V." },
});
assert.equal(checked.data?.now.standing, "good");
await signs(eve, { part: "plan-approval", digest: await digest(eve, "plan-approval"), secret: PASSWORD });
const release: Schemas["ReleaseSignedSignOff"] = {
  part: "release",
  digest: await digest(sam, "release"),
  secret: PASSWORD,
  valid_until: new Date(Date.now() + 8 * 3_600_000).toISOString(),
};
const barred = await asks(lea, release);
assert.equal(barred.error?.code, "not-permitted");
assert.deepEqual(barred.error?.allowed, ["safety"]);
await signs(sam, release);
await signs(pip, { part: "acknowledgement", digest: await digest(pip, "acknowledgement"), secret: PASSWORD });
assert.deepEqual(await held(), []);

// The run, with its moments.
const opens = {
  params: { path: { programme: "small" }, header: { "Idempotency-Key": "the-run-of-the-day" } },
  body: { points: [POINT.point], crew: [{ person: "pip", role: "pilot" as const, on_board: true }] },
};
const opened = await lea.POST("/api/v1/programmes/{programme}/runs", opens);
assert(opened.data, opened.error?.detail);
const repeated = await lea.POST("/api/v1/programmes/{programme}/runs", opens);
assert.equal(repeated.response.headers.get("idempotency-replayed"), "true");
const path = { programme: "small", run: opened.data.now.run };
for (const event of ["power-on", "power-off"] as const) {
  const noted = await pip.POST("/api/v1/programmes/{programme}/runs/{run}/moments", { params: { path }, body: { event } });
  assert(noted.data, noted.error?.detail);
}
const closed = await lea.POST("/api/v1/programmes/{programme}/runs/{run}/closing", {
  params: { path },
  body: { debrief: "All as on the card." },
});
assert(closed.data?.now.closed, closed.error?.detail);

// What it showed, and the two signatures that make it count.
const recorded = await pip.POST("/api/v1/programmes/{programme}/runs/{run}/results", {
  params: { path },
  body: {
    point: POINT.point,
    observations: "Smooth.",
    values: [{ parameter: "motor_temp", statistic: "max", value: 55, unit: "degC" }],
  },
});
assert(recorded.data, recorded.error?.detail);
for (const [person, part] of [[eve, "engineering-acceptance"], [sam, "safety-acceptance"]] as const) {
  await signs(person, { part, run: path.run, digest: await digest(person, part), secret: PASSWORD });
}
assert.equal((await rung(lea)).state, "accepted");

// The hours have it, to the whole minute.
const hours = await lea.GET("/api/v1/programmes/{programme}/hours", { params: { path: { programme: "small" } } });
assert.equal(hours.data?.totals.runs, 1);
assert.deepEqual(hours.data.incomplete, []);
assert.deepEqual(hours.data.by_person.map((it) => it.person), ["pip"]);
console.log(`TypeScript: planned, released, run, accepted; run ${path.run} is in the hours`);
