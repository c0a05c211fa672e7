// Forms that can be filled in where there is no signal: each is kept on the device before it is sent, and stays until the server
// has recorded it or a person has decided what becomes of it. Without this script forms are sent as browsers send them.
//
// A form joins with data-queue on it. data-queue-time="observed_at:moment" names the field that tells when it was pressed, where
// the form has none. A form that asks for a password or PIN is never kept. A page joins the offline pages by `Around::keeps()`,
// which puts data-keep on its `main`; links to pages that belong to it have data-keep too.
//
// What is kept belongs to who pressed it. It is sent in its order, once `/who` says that the same person is signed in, with the
// form token of that sign-in: under any other sign-in the server takes it from nobody. Its idempotency key stays with it, so that
// a reply that got lost, a killed browser or a second page that sends too has it recorded once. What is refused stops those behind
// it, since they may rest on it, and waits for a person with all that was typed.
(() => {
  "use strict";
  const panel = document.getElementById("kept");
  if (!panel || !window.indexedDB) return;
  const body = document.body;
  const me = body.dataset.person ?? null;
  const SEND_EVERY_MS = 15_000;
  const ANSWERS_WITHIN_MS = 20_000;
  const TELLS_RECORDED_FOR_MS = 12 * 3600 * 1000;
  let reachable = true;
  let sending = null;
  let shown = null;

  // The store.
  const opened = new Promise((open, failed) => {
    const asked = indexedDB.open("rungbook", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("kept", { keyPath: "id", autoIncrement: true });
    asked.onsuccess = () => open(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  opened.catch(() => {});
  async function inStore(mode, work) {
    const transaction = (await opened).transaction("kept", mode, { durability: "strict" });
    const asked = work(transaction.objectStore("kept"));
    return new Promise((done, failed) => {
      transaction.oncomplete = () => done(asked.result);
      transaction.onabort = transaction.onerror = () => failed(transaction.error);
    });
  }
  const all = () => inStore("readonly", (store) => store.getAll());
  const put = (entry) => inStore("readwrite", (store) => store.put(entry));
  const drop = (id) => inStore("readwrite", (store) => store.delete(id));

  // How far this device's clock is from the server's, by the last page that came from it.
  function clockOffset() {
    const arrived = performance.getEntriesByType("navigation")[0]?.responseStart;
    if (body.dataset.made && !body.dataset.keptAt && arrived > 0) {
      const offset = Date.parse(body.dataset.made) - (performance.timeOrigin + arrived);
      try { localStorage.setItem("rungbook-clock", String(Math.round(offset))); } catch { /* It is not needed for long. */ }
    }
    let offset = 0;
    try { offset = Number(localStorage.getItem("rungbook-clock")) || 0; } catch { /* As above. */ }
    // A second or two is the way, not the clock.
    return Math.abs(offset) < 2000 ? 0 : offset;
  }
  const offset = clockOffset();
  const now = () => new Date(Date.now() + offset);
  const hour = (iso) => iso.slice(11, 16) + " UTC";

  function newKey() {
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 0x0f) | 0x40;
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  }

  // A form as it is kept.
  function entryOf(form, submitter) {
    const key = newKey();
    const fields = [...new FormData(form, submitter ?? undefined)]
      .filter(([name]) => name !== "form.token" && name !== "form.key").concat([["form.key", key]]);
    const pressedAt = now().toISOString();
    const timeField = form.dataset.queueTime;
    if (timeField && !fields.some(([name, text]) => name === timeField && text)) {
      fields.push([timeField, pressedAt.slice(0, 19)]);
    }
    const typed = [...form.elements].filter((it) => it.name && it.type !== "hidden" && it.tagName !== "BUTTON" && it.value
      && (it.type !== "checkbox" || it.checked) && (it.type !== "radio" || it.checked))
      .map((it) => [it.labels?.[0]?.textContent.trim() ?? it.name, it.tagName === "SELECT" ? it.selectedOptions[0].textContent : it.value]);
    const url = new URL(location.href);
    return {
      person: me, personName: body.dataset.name ?? me, to: new URL(form.action).pathname, fields, typed, pressedAt, form: form.id,
      page: url.pathname, where: document.title.replace(/ · .*/, ""), title: (submitter ?? form.querySelector("button")).textContent.trim(),
      state: "kept",
    };
  }

  async function submitted(event) {
    const form = event.target;
    if (event.defaultPrevented || !form.matches("form[data-queue]") || !me || form.querySelector("input[type=password]")) return;
    event.preventDefault();
    const entry = entryOf(form, event.submitter);
    if (form.dataset.entry) entry.id = Number(form.dataset.entry);
    try {
      entry.id = await put(entry);
    } catch {
      // Nothing can be kept here, so the browser sends it itself.
      HTMLFormElement.prototype.submit.call(form);
      return;
    }
    // Kept: the form is free for the next one.
    const fromQueue = form.dataset.entry !== undefined;
    const outcome = await sendKept(entry.id);
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.removeAttribute("aria-disabled");
    if (outcome?.recorded) {
      await drop(entry.id);
      location.assign(outcome.recorded);
    } else if (outcome?.refused) {
      // At once and in front of who typed it: as the page itself tells it, with the form filled in.
      const told = new DOMParser().parseFromString(outcome.refused, "text/html").getElementById("main");
      const main = document.getElementById("main");
      main.replaceChildren(...told.childNodes);
      const again = entry.form && main.querySelector("#" + CSS.escape(entry.form));
      if (again) fill(again, entry);
      // What was never out of sight is in the form again, and nothing behind it has to wait.
      if (again && !fromQueue) {
        delete again.dataset.entry;
        await drop(entry.id);
      }
      main.dispatchEvent(new CustomEvent("rungbook:shown", { bubbles: true }));
      main.querySelector(".told")?.scrollIntoView();
      main.focus();
      await render();
    } else {
      delete form.dataset.entry;
      for (const it of form.querySelectorAll("[data-refilled]")) it.remove();
      form.reset();
      panel.scrollIntoView({ block: "nearest" });
    }
  }

  // Who is signed in, as the server says; throws where there is no answer.
  async function who() {
    const answer = await fetch("/who", { headers: { accept: "application/json" }, cache: "no-store", signal: AbortSignal.timeout(ANSWERS_WITHIN_MS) });
    if (!answer.ok) throw new Error("no answer that helps");
    return answer.json();
  }

  // Sends what this person has kept, in its order, one sender at a time on this device. Gives what came of the entry that was
  // asked for: {recorded: where to} or {refused: page}, nothing where it is still kept.
  function sendKept(wanted = null) {
    const send = () => sendAll(wanted);
    const turn = async () => (navigator.locks ? navigator.locks.request("rungbook-queue", send) : send());
    const mine = (sending ?? Promise.resolve()).then(turn, turn);
    sending = mine.catch(() => null);
    return sending;
  }

  async function sendAll(wanted) {
    let outcome = null;
    const waiting = (await all()).filter((entry) => entry.state !== "recorded" && entry.person === me);
    if (me && waiting.length > 0) {
      try {
        const { person, token } = await who();
        reachable = true;
        if (person === me) {
          for (const entry of waiting) {
            if (entry.state === "refused") break;
            const came = await sendOne(entry, token);
            if (entry.id === wanted) outcome = came;
            if (!came?.recorded) break;
          }
        }
      } catch {
        reachable = false;
      }
    }
    await render();
    return outcome;
  }

  async function sendOne(entry, token) {
    await render(entry.id);
    const form = new URLSearchParams([...entry.fields, ["form.token", token]]);
    const answer = await fetch(entry.to, { method: "POST", body: form, headers: { accept: "text/html" }, signal: AbortSignal.timeout(ANSWERS_WITHIN_MS) });
    const came = new URL(answer.url);
    if (answer.redirected && answer.ok && came.pathname !== "/sign-in") {
      const seq = came.searchParams.get("recorded");
      await put({ ...entry, state: "recorded", seq, sentAt: now().toISOString() });
      return { recorded: came.pathname + came.search };
    }
    // Whoever is signed in has changed, or the server cannot do it now: it is kept, and tried again later.
    const later = answer.redirected || [401, 408, 429].includes(answer.status) || answer.status >= 500
      || answer.headers.get("rungbook-problem") === "foreign-form";
    if (later) return null;
    const text = await answer.text();
    const told = new DOMParser().parseFromString(text, "text/html").querySelector(".told");
    const why = told ? [...told.querySelectorAll("h1, h2, p, li")].map((it) => it.textContent.trim()).join(" ") : "The server answered " + answer.status + ".";
    await put({ ...entry, state: "refused", told: why });
    return { refused: text };
  }

  // What the person sees of it.
  function element(name, text, ...inside) {
    const it = document.createElement(name);
    it.append(...(text === null ? [] : [text]), ...inside);
    return it;
  }
  function button(words, press, kind = "quiet") {
    const it = element("button", words);
    it.type = "button";
    it.className = kind;
    it.addEventListener("click", press);
    return it;
  }

  function line(entry, sendingId) {
    const words = {
      kept: entry.id === sendingId ? "sent; waiting for the answer" : "kept here; nobody else sees it yet",
      recorded: entry.seq ? "recorded as no. " + entry.seq : "done; nothing had to change",
      refused: "refused, and kept here",
    };
    const place = element("a", entry.where);
    place.href = entry.page;
    const item = element("li", null, element("strong", entry.title), " at " + hour(entry.pressedAt) + ", ", place, ": ", element("strong", words[entry.state]), ".");
    item.dataset.entry = entry.id;
    item.dataset.state = entry.state;
    if (entry.state === "refused") {
      item.append(element("p", entry.told));
      const typed = element("dl", null, ...entry.typed.flatMap(([label, value]) => [element("dt", label), element("dd", value)]));
      if (entry.typed.length > 0) item.append(typed);
      const really = button("Drop it", () => {
        if (really.dataset.asked) drop(entry.id).then(() => sendKept());
        really.dataset.asked = "yes";
        really.textContent = "Really drop it, so that it is never recorded";
      });
      item.append(element("p", null,
        button("Back into its form", () => backToForm(entry)), " ",
        button("Send it again", async () => { await put({ ...entry, state: "kept", told: "" }); await sendKept(); }), " ", really));
    }
    return item;
  }

  async function render(sendingId = null) {
    let entries;
    try { entries = await all(); } catch { return; }
    for (const old of entries.filter((it) => it.state === "recorded" && Date.now() - Date.parse(it.sentAt) > TELLS_RECORDED_FOR_MS)) await drop(old.id);
    // What reads as before is left alone, so that it is not read out again and nobody loses their place in it.
    const picture = JSON.stringify([entries, sendingId, reachable, body.dataset.keptAt]);
    if (picture === shown) return;
    shown = picture;
    const own = entries.filter((it) => it.person === me);
    const others = entries.filter((it) => it.person !== me && it.state !== "recorded");
    const parts = [];
    if (body.dataset.keptAt) {
      parts.push(element("p", null, element("strong", "No connection. "), "This is the page as it was on " + body.dataset.keptAt.slice(0, 10) + " at " + hour(body.dataset.keptAt)
        + ". It does not show what was done since, a stand-down neither."));
    } else if (!reachable) {
      parts.push(element("p", null, element("strong", "No connection. "), "What you send is kept on this device, and sent when there is one and a page of Rungbook is open."));
    }
    if (own.length > 0) {
      const list = element("ol", null, ...own.map((entry) => line(entry, sendingId)));
      parts.push(element("h2", "Kept on this device"), list);
      if (own.some((it) => it.state === "refused")) parts.push(element("p", "What comes after a refused one waits until you have decided about it."));
      if (own.some((it) => it.state === "recorded")) {
        parts.push(element("p", null, button("I have seen what was recorded", async () => {
          for (const entry of own.filter((it) => it.state === "recorded")) await drop(entry.id);
          await render();
        })));
      }
    }
    for (const person of new Set(others.map((it) => it.person))) {
      const of = others.filter((it) => it.person === person);
      parts.push(element("p", null, element("strong", (of.length === 1 ? "1 entry of " : of.length + " entries of ") + of[0].personName),
        of.length === 1 ? " is" : " are", " kept on this device and not sent. Only when " + of[0].personName + " signs in here " + (of.length === 1 ? "is it" : "are they") + " sent."));
    }
    panel.hidden = parts.length === 0;
    panel.replaceChildren(...parts);
  }

  // Puts what was typed back into the form in which it was typed, with what the form itself does not show.
  function fill(form, entry) {
    for (const [name, text] of entry.fields.filter(([name]) => !name.startsWith("form."))) {
      const fields = [...form.elements].filter((it) => it.name === name);
      const choice = fields.find((it) => (it.type === "checkbox" || it.type === "radio") && it.value === text);
      if (choice) choice.checked = true;
      else if (fields.length === 1) fields[0].value = text;
      else if (fields.length === 0) {
        const hidden = document.createElement("input");
        Object.assign(hidden, { type: "hidden", name, value: text });
        hidden.dataset.refilled = "yes";
        form.append(hidden);
      }
    }
    form.dataset.entry = entry.id;
    for (let at = form.parentElement; at; at = at.parentElement) if (at.tagName === "DETAILS") at.open = true;
  }
  function backToForm(entry) {
    sessionStorage.setItem("rungbook-refill", String(entry.id));
    location.assign(entry.page);
  }
  async function refill() {
    const id = Number(sessionStorage.getItem("rungbook-refill"));
    if (!id) return;
    sessionStorage.removeItem("rungbook-refill");
    const entry = (await all()).find((it) => it.id === id && it.person === me);
    const form = entry && document.getElementById(entry.form);
    if (form) {
      fill(form, entry);
      form.scrollIntoView({ block: "center" });
      (form.querySelector("input:not([type=hidden]), textarea, select, button"))?.focus();
    } else if (entry) {
      panel.prepend(element("p", "The form of “" + entry.title + "” is not on this page any more. What you typed stands below."));
    }
  }

  // Whoever signs out is told what stays behind, and is asked once.
  async function signingOut(event) {
    const form = event.target;
    if (!form.matches("form[action='/sign-out']") || form.dataset.told) return;
    event.preventDefault();
    const waiting = (await all().catch(() => [])).filter((it) => it.person === me && it.state !== "recorded");
    form.dataset.told = "yes";
    delete form.dataset.sent;
    for (const it of form.querySelectorAll("button")) it.removeAttribute("aria-disabled");
    navigator.serviceWorker?.controller?.postMessage({ forget: true });
    if (waiting.length === 0) return HTMLFormElement.prototype.submit.call(form);
    panel.hidden = false;
    panel.prepend(element("p", null, element("strong", waiting.length + " not sent yet. "),
      "If you sign out, they stay on this device, and are sent only when you sign in here again. Press “Sign out” again to do so."));
    panel.scrollIntoView();
  }

  function keepPages() {
    const main = document.getElementById("main");
    if (!("serviceWorker" in navigator)) return;
    navigator.serviceWorker.register("/worker.js").catch(() => {});
    if (!me || body.dataset.keptAt || !main || main.dataset.keep === undefined) return;
    const links = [...main.querySelectorAll("a[data-keep]")].map((it) => new URL(it.href).pathname);
    navigator.serviceWorker.ready.then((worker) => worker.active.postMessage({ keep: [location.pathname, ...new Set(links)] }));
  }

  document.addEventListener("submit", submitted);
  document.addEventListener("submit", signingOut);
  document.addEventListener("rungbook:shown", () => { render(); keepPages(); });
  window.addEventListener("online", () => sendKept());
  window.addEventListener("load", keepPages);
  setInterval(async () => {
    if (!document.hidden && (await all().catch(() => [])).some((it) => it.state === "kept" && it.person === me)) sendKept();
  }, SEND_EVERY_MS);
  sendKept().then(refill).then(render);
})();
