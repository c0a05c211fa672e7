// Pages that follow the ledger while they are open. Comfort only: without this script a page is as it was when it was loaded.
//
// A page joins by `Around::live()` on the server, which puts on its `main`:
//   data-live="/programmes/tug/events"   where the stream of events is
//   data-seq="412"                       how many records the page has seen
// Parts outside of `main` that should follow too have data-part="NAME", the same in each load of the page.
// What goes on in a page and must not be disturbed, such as an upload, has data-busy while it does.
// After new markup was put in, `rungbook:shown` is told at `main`; other scripts listen to it and do their part again.
//
// A page in which somebody types, marks text, or reads why a form was refused is left as it is, and says that there is more.
(() => {
  "use strict";
  const main = document.getElementById("main");
  const news = document.getElementById("news");
  if (!main?.dataset.live || !news || !window.EventSource) return;

  const place = () => {
    const url = new URL(location.href);
    url.searchParams.delete("recorded");
    url.hash = "";
    return url.href;
  };
  const seen = () => Number(main.dataset.seq);
  let stream = null;
  let newest = seen();
  let loading = false;
  let tries = 0;

  function say(text, ...more) {
    news.replaceChildren(text, ...more);
  }

  function pressable(words, press) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = words;
    button.addEventListener("click", press);
    return button;
  }

  function link(words, to) {
    const a = document.createElement("a");
    a.href = to;
    a.textContent = words;
    return a;
  }

  const shownAt = () => new Date().toISOString().slice(11, 16) + " UTC";

  // What somebody has typed and not sent.
  function isTyped(field) {
    if (field.type === "hidden" || field.tagName === "BUTTON" || field.tagName === "FIELDSET") return false;
    if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
    if (field.tagName === "SELECT") {
      const usual = Math.max(0, [...field.options].findIndex((option) => option.defaultSelected));
      return field.selectedIndex !== usual;
    }
    return field.value !== field.defaultValue;
  }

  const fieldsOf = (root) => [...root.querySelectorAll("input, select, textarea")];

  function isBusy() {
    const at = document.activeElement;
    const types = at && main.contains(at) && at.matches("select, textarea, input:not([type=checkbox]):not([type=radio])");
    const marked = document.getSelection();
    const marks = marked && !marked.isCollapsed && main.contains(marked.anchorNode);
    return types || marks || main.querySelector(".told, [data-busy]") !== null || fieldsOf(main).some(isTyped);
  }

  // By what something is found again in another load of the page.
  function pathTo(element) {
    if (!element || !main.contains(element) || element === main) return null;
    if (element.id) return (root) => root.querySelector("#" + CSS.escape(element.id));
    const alike = (root, of) => {
      if (of.form && of.name) return [...root.querySelectorAll("form")].filter((form) => form.id === of.form.id)
        .flatMap((form) => [...form.elements].filter((it) => it.name === of.name && it.type === of.type));
      const same = (it) => it.textContent.trim() === of.textContent.trim() && it.getAttribute("href") === of.getAttribute("href");
      return [...root.querySelectorAll(of.tagName)].filter((it) => same(it) && (it.form?.id ?? "") === (of.form?.id ?? ""));
    };
    const index = alike(main, element).indexOf(element);
    return (root) => alike(root, element)[Math.max(0, index)] ?? null;
  }

  function summaries(root) {
    return new Map([...root.querySelectorAll("details")].map((details, place) => {
      const form = details.querySelector("form[id]");
      return [form?.id || details.id || place + details.querySelector("summary")?.textContent, details];
    }));
  }

  // Puts the page's parts of a fresh load in the place of the old ones. Gives whether everything typed has found its place.
  function swap(fresh) {
    const freshMain = fresh.getElementById("main");
    if (!freshMain) return false;
    const carried = fieldsOf(main).filter(isTyped).map((field) => [field, pathTo(field)(freshMain)]);
    if (carried.some(([, found]) => found === null)) return false;
    const refocus = pathTo(document.activeElement);
    const anchor = [...main.querySelectorAll("[id]")].find((it) => it.getBoundingClientRect().top >= 0);
    const anchorTop = anchor?.getBoundingClientRect().top;
    const beside = [...main.querySelectorAll(".picture, .wide")].map((it) => it.scrollLeft);

    for (const [old, found] of carried) {
      if (old.type === "checkbox" || old.type === "radio") found.checked = old.checked;
      else found.value = old.value;
    }
    const open = summaries(freshMain);
    for (const [name, details] of summaries(main)) {
      if (open.has(name)) open.get(name).open = details.open || open.get(name).open;
    }
    main.replaceChildren(...freshMain.childNodes);
    main.dataset.seq = freshMain.dataset.seq;
    for (const part of document.querySelectorAll("[data-part]")) {
      const other = [...fresh.querySelectorAll("[data-part]")].find((it) => it.dataset.part === part.dataset.part);
      if (other && other.innerHTML !== part.innerHTML && !part.contains(document.activeElement)) {
        part.replaceChildren(...other.childNodes);
      }
    }
    document.title = fresh.title;
    delete document.body.dataset.keptAt;

    [...main.querySelectorAll(".picture, .wide")].forEach((it, place) => { it.scrollLeft = beside[place] ?? 0; });
    main.dispatchEvent(new CustomEvent("rungbook:shown", { bubbles: true }));
    refocus?.(main)?.focus({ preventScroll: true });
    const now = anchor?.id && document.getElementById(anchor.id);
    if (now) window.scrollBy(0, now.getBoundingClientRect().top - anchorTop);
    return true;
  }

  // Loads the page anew where there is more, and shows it unless that would disturb somebody who has not asked for it.
  async function catchUp(asked = false) {
    if (loading || (newest <= seen() && !document.body.dataset.keptAt && !asked)) return;
    if (!asked && isBusy()) {
      say("New: record no. " + newest + ". ", pressable("Show it", () => catchUp(true)));
      return;
    }
    loading = true;
    try {
      const answer = await fetch(place(), { headers: { accept: "text/html" }, cache: "no-store" });
      if (new URL(answer.url).pathname === "/sign-in") return signedOut();
      if (!answer.ok) {
        say("This page cannot be brought up to date any more. ", link("Load it anew", place()));
        return;
      }
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!asked && isBusy()) {
        say("New: record no. " + newest + ". ", pressable("Show it", () => catchUp(true)));
      } else if (swap(fresh)) {
        say("Brought up to date at " + shownAt() + ", to record no. " + seen() + ".");
      } else {
        say("Record no. " + newest + " has taken away the form in which you type. Copy what you typed, then ", link("load the page anew", place()), ".");
      }
    } catch {
      say("No connection. The page may not show what others did since.");
    } finally {
      loading = false;
    }
    if (newest > seen() && !isBusy()) setTimeout(catchUp, 500);
  }

  // What is typed stays: where there is any, the sign-in opens beside this page.
  function signedOut() {
    close();
    tries = Infinity;
    const again = link("Sign in again", "/sign-in?to=" + encodeURIComponent(new URL(place()).pathname));
    if (!fieldsOf(main).some(isTyped)) return say("You have been signed out. ", again, ".");
    again.target = "_blank";
    say("You have been signed out, and nothing can be sent from here. ", again, " beside this page, where what you typed stays; then come back and send it.");
  }

  // Somebody comes back to a page from which they were signed out. Forms are taken with the token of the new sign-in alone.
  async function signedInAgain() {
    try {
      const answer = await fetch("/who", { headers: { accept: "application/json" }, cache: "no-store" });
      const { person, token } = answer.ok ? await answer.json() : { person: null };
      if (person === null) return;
      if (person !== document.body.dataset.person) {
        say("Somebody else is signed in now. What you typed cannot be sent by them: copy it, then ", link("load the page anew", place()), ".");
        return;
      }
      for (const field of document.querySelectorAll("input[name='form.token']")) field.value = token;
      tries = 0;
      say("You are signed in again. What you typed is still here and can be sent.");
      listen();
    } catch {
      // There is no connection: the next return asks again.
    }
  }

  function close() {
    stream?.close();
    stream = null;
  }

  // Only pages that are looked at listen: browsers open few connections to one place, and a phone's battery is small.
  function listen() {
    if (stream || document.hidden || tries === Infinity) return;
    stream = new EventSource(main.dataset.live);
    stream.addEventListener("ledger", (event) => {
      tries = 0;
      newest = JSON.parse(event.data).seq;
      catchUp();
    });
    stream.addEventListener("error", () => {
      if (stream?.readyState !== EventSource.CLOSED) return;
      // The stream was refused, and the browser does not try again by itself.
      close();
      tries += 1;
      setTimeout(whyRefused, Math.min(60, 2 ** tries) * 1000);
    });
  }

  async function whyRefused() {
    if (stream || document.hidden) return;
    try {
      const answer = await fetch("/who", { headers: { accept: "application/json" }, cache: "no-store" });
      if (answer.ok && (await answer.json()).person === null) return signedOut();
    } catch {
      // There is no connection: it is tried again.
    }
    listen();
  }

  const back = () => (tries === Infinity ? signedInAgain() : listen());
  document.addEventListener("visibilitychange", () => (document.hidden ? close() : back()));
  window.addEventListener("focus", () => { if (tries === Infinity) signedInAgain(); });
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", listen);
  window.addEventListener("online", () => { tries = tries === Infinity ? tries : 0; listen(); });
  // Whoever is done with typing sees what came meanwhile.
  main.addEventListener("focusout", () => setTimeout(() => { if (newest > seen() && !isBusy()) catchUp(); }, 0));
  listen();
})();
