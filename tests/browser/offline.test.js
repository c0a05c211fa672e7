// A run on a field without signal: its pages open, what is typed waits on the device, and nothing of it is lost, doubled or
// sent under another name.

import assert from "node:assert/strict";
import { after, before, test } from "node:test";

import { signIn } from "./people.js";
import { entries, isKept, openRun, Phone } from "./phone.js";
import { browser, Demonstration, PASSWORD } from "./service.js";

let others;

before(async () => {
  others = await browser();
});

after(async () => {
  await others?.close();
});

/// Plays at a service with an open run, on a phone that has kept the run's pages and where marit is signed in.
async function atARun(play) {
  const service = await Demonstration.begin();
  const phone = new Phone();
  try {
    const path = `/programmes/tallow/runs/${await openRun(others, service)}`;
    const page = await phone.start();
    await phone.signIn(service.base, "marit");
    await page.goto(service.base + path);
    await isKept(page, [path, `${path}/cards`, `${path}/results/TX-03`]);
    await play({ service, phone, page, path });
  } finally {
    await phone.end();
    await service.end();
  }
}

/// Presses a button of the run's page where there is no signal, and sees that it is kept.
async function pressesWithoutSignal({ service, phone, page, path }, name) {
  await phone.context.setOffline(true);
  await page.goto(service.base + path);
  await page.getByRole("button", { name }).click();
  await page.locator("#kept li", { hasText: name }).waitFor();
}

test("a run is noted without signal, through a killed browser and a restarted service, in its order and once", { timeout: 400_000 }, async () => {
  await atARun(async ({ service, phone, page: first, path }) => {
    let page = first;

    await service.kill();
    await page.goto(service.base + path);
    await page.getByText("No connection.").first().waitFor();
    assert.match(await page.locator("#kept").innerText(), /as it was on \d{4}-\d\d-\d\d at \d\d:\d\d UTC/);
    for (const moment of ["Power on now", "Off blocks now"]) {
      await page.getByRole("button", { name: moment }).click();
      await page.locator("#kept li", { hasText: moment }).waitFor();
    }
    assert.deepEqual((await entries(page)).map(([state]) => state), ["kept", "kept"]);
    assert.match((await entries(page))[0][1], /kept here; nobody else sees it yet/);
    await page.goto(`${service.base}${path}/cards`);
    assert.match(await page.innerText("main"), /TX-03/);
    await page.goto(`${service.base}/programmes/tallow/ladder`);
    assert.match(await page.innerText("main"), /No connection/);

    await phone.kill();
    page = await phone.start();
    await page.goto(service.base + path);
    await page.locator("#kept li").first().waitFor();
    assert.deepEqual((await entries(page)).map(([state]) => state), ["kept", "kept"], "both are there after the browser was killed");

    await service.serveAgain();
    // Browsers write cookies to disk only now and then, so that the sign-in may be lost with the browser.
    await page.goto(`${service.base}/`);
    if (new URL(page.url()).pathname === "/sign-in") await phone.signIn(service.base, "marit");
    await page.goto(service.base + path);
    await page.locator("#kept li[data-state=recorded]").nth(1).waitFor({ timeout: 60_000 });
    const told = await entries(page);
    const seqs = told.map(([, words]) => Number(/recorded as no\. (\d+)/.exec(words)?.[1]));
    assert.equal(seqs[1], seqs[0] + 1, `in their order: ${told.map(([, words]) => words)}`);
    await page.goto(service.base + path);
    const times = await page.locator("#times + dl, section:has(#times) dl").first().innerText();
    assert.equal((times.match(/not noted/g) ?? []).length, 2, `on and off blocks are noted, once: ${times}`);
  });
});

test("what somebody else did first comes back as a conflict, with what was typed, and is sent or dropped by a person", { timeout: 400_000 }, async () => {
  await atARun(async ({ service, phone, page, path }) => {
    await pressesWithoutSignal({ service, phone, page, path }, "Power on now");
    await page.getByLabel(/worth saying/).fill("Straight and quiet, as before.");
    await page.getByRole("button", { name: "Close the run" }).click();
    await page.locator("#kept li", { hasText: "Close the run" }).waitFor();

    // Somebody with a signal notes the same moment.
    const ruth = await signIn(others, service.base, "ruth");
    await ruth.goto(service.base + path);
    await ruth.getByRole("button", { name: "Power on now" }).click();
    await ruth.waitForURL(/recorded=/);
    await ruth.context().close();

    await phone.context.setOffline(false);
    await page.locator("#kept li[data-state=refused]").first().waitFor({ timeout: 60_000 });
    const states = (await entries(page)).map(([state]) => state);
    assert.deepEqual(states, ["refused", "kept"], "what comes behind waits");
    const refused = page.locator("#kept li[data-state=refused]");
    assert.match(await refused.innerText(), /refused, and kept here/);
    await refused.getByRole("button", { name: "Drop it" }).click();
    await refused.getByRole("button", { name: /Really drop it/ }).click();
    // The closing is sent now, and refused too, since the times are not complete; what was typed is told and goes back in.
    const closing = page.locator("#kept li", { hasText: "Close the run" });
    await page.locator("#kept li[data-state=refused], #kept li[data-state=recorded]").filter({ hasText: "Close the run" }).waitFor({ timeout: 60_000 });
    if ((await closing.getAttribute("data-state")) === "refused") {
      assert.match(await closing.innerText(), /Straight and quiet, as before\./);
      await closing.getByRole("button", { name: "Back into its form" }).click();
      await page.waitForLoadState("load");
      await page.waitForFunction(() => [...document.querySelectorAll("textarea")].some((it) => it.value === "Straight and quiet, as before."));
    }
  });
});

test("what one person has kept is told to the next, shown to nobody, and sent by nobody else", { timeout: 400_000 }, async () => {
  await atARun(async ({ service, phone, page, path }) => {
    await pressesWithoutSignal({ service, phone, page, path }, "Power on now");
    // The session ends while there is no signal: the cookie is gone, as after it ran out.
    await phone.context.clearCookies();
    await phone.context.setOffline(false);

    await phone.signIn(service.base, "ruth");
    await page.goto(service.base + path);
    await page.locator("#kept", { hasText: "1 entry of Marit" }).waitFor();
    assert.match(await page.locator("#kept").innerText(), /not sent/);
    assert.doesNotMatch(await page.locator("#kept").innerText(), /Power on/);
    assert.match(await page.innerText("main"), /Power on\s+not noted/, "nothing was sent under another name");
    const owners = await page.evaluate(async () => (await caches.keys()).filter((name) => name.startsWith("rungbook-pages-")));
    assert.ok(owners.every((name) => name === "rungbook-pages-ruth"), `${owners}`);

    await page.getByRole("button", { name: "Sign out" }).click();
    await page.waitForURL(/sign-in/);
    await page.waitForFunction(async () => (await caches.keys()).every((name) => !name.startsWith("rungbook-pages-")));
    await phone.signIn(service.base, "marit");
    await page.locator("#kept li[data-state=recorded]").waitFor({ timeout: 60_000 });
    await page.goto(service.base + path);
    assert.doesNotMatch(await page.innerText("main"), /Power on\s+not noted/);
    const told = await fetch(`${service.base}/api/v1/sessions`, {
      method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ handle: "marit", password: PASSWORD }),
    });
    const { access_token: token } = await told.json();
    const records = await fetch(`${service.base}/api/v1/programmes/tallow/ledger`, { headers: { authorization: `Bearer ${token}` } });
    const { size } = await records.json();
    const last = await fetch(`${service.base}/api/v1/programmes/tallow/ledger/records/${size}`, { headers: { authorization: `Bearer ${token}` } });
    assert.equal((await last.json()).entry.by, "marit");
  });
});
