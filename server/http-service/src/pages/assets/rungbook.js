// Comfort only: every act works without this script.
(() => {
"use strict";

// Beside each UTC time the time where the reader is.
function tellLocalTime(root) {
  const sameZone = new Date().getTimezoneOffset() === 0;
  if (sameZone) return;
  const day = { weekday: "short", hour: "2-digit", minute: "2-digit", hour12: false };
  for (const time of root.querySelectorAll("time[datetime]:not([data-told])")) {
    const moment = new Date(time.dateTime);
    if (Number.isNaN(moment.getTime())) continue;
    time.dataset.told = "yes";
    const here = document.createElement("span");
    here.className = "here";
    here.textContent = " (" + new Intl.DateTimeFormat("en-GB", day).format(moment) + " here)";
    time.append(here);
  }
}

// Dates, codes and clock times in sentences are not broken at the end of a line, which browsers do at each hyphen.
const WHOLE = /\b(?:\d{4}-\d\d-\d\d|\d\d:\d\d UTC|[A-Z]{1,3}(?:-[A-Z0-9]+){1,3})\b/g;
function keepWhole(root) {
  const texts = document.createTreeWalker(root, NodeFilter.SHOW_TEXT);
  const found = [];
  while (texts.nextNode()) {
    const { data, parentElement } = texts.currentNode;
    if (data.includes("-") && data.search(WHOLE) >= 0 && !parentElement.closest("time, pre, code, textarea, option, svg, script, style, .unbroken")) found.push(texts.currentNode);
  }
  for (const text of found) {
    const parts = document.createDocumentFragment();
    let from = 0;
    for (const { 0: word, index } of text.data.matchAll(WHOLE)) {
      if (word.length > 24) continue;
      const whole = document.createElement("span");
      whole.className = "unbroken";
      whole.textContent = word;
      parts.append(text.data.slice(from, index), whole);
      from = index + word.length;
    }
    parts.append(text.data.slice(from));
    text.replaceWith(parts);
  }
}

// Beside each field for a UTC time, what was typed as the time where the reader is.
function tellTypedTime(field) {
  const told = document.createElement("span");
  told.className = "here";
  // Behind the field's "UTC", where it can go to a line of its own.
  field.parentElement.append(told);
  const tell = () => {
    const moment = new Date(field.value + "Z");
    told.textContent = field.value && !Number.isNaN(moment.getTime())
      ? " is " + moment.toLocaleString("en-GB", { weekday: "short", hour: "2-digit", minute: "2-digit" }) + " here"
      : "";
  };
  field.addEventListener("input", tell);
  tell();
}

// A form is sent once, however often a cold finger taps.
function sendOnce(event) {
  const form = event.target;
  if (form.dataset.sent) { event.preventDefault(); return; }
  form.dataset.sent = "yes";
  for (const button of form.querySelectorAll("button")) button.setAttribute("aria-disabled", "true");
}

// What is done to markup when it comes, also to what other scripts put in later.
function dress(root) {
  keepWhole(root.getElementById?.("main") ?? root);
  tellLocalTime(root);
  for (const field of root.querySelectorAll("input[type=datetime-local]")) tellTypedTime(field);
  for (const button of root.querySelectorAll("button[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }
  for (const field of root.querySelectorAll("input[type=file][data-first]")) field.addEventListener("change", () => sendBeginning(field));
}

dress(document);
document.addEventListener("rungbook:shown", (event) => dress(event.target));
document.addEventListener("submit", sendOnce);
// A page that comes back from the browser's memory can be sent again.
window.addEventListener("pageshow", () => {
  for (const form of document.querySelectorAll("form[data-sent]")) {
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.removeAttribute("aria-disabled");
  }
});

// Of a file that is only looked at, no more goes over the line than is looked at.
function sendBeginning(field) {
  const most = Number(field.dataset.first);
  const file = field.files[0];
  if (!file || file.size <= most) return;
  const part = new DataTransfer();
  part.items.add(new File([file.slice(0, most)], file.name, { type: file.type }));
  field.files = part.files;
}

// How much of a file has gone. The reply is a page or leads to one, as without this script.
function sendWithProgress(event) {
  const form = event.target;
  if (event.defaultPrevented || form.enctype !== "multipart/form-data") return;
  event.preventDefault();
  const told = document.createElement("p");
  told.className = "going";
  told.setAttribute("role", "status");
  const words = document.createElement("span");
  const bar = document.createElement("progress");
  bar.setAttribute("aria-label", "Sent so far");
  told.append(words, bar);
  form.append(told);
  const again = (why) => {
    words.textContent = why;
    bar.remove();
    delete form.dataset.sent;
    for (const button of form.querySelectorAll("button")) button.removeAttribute("aria-disabled");
  };
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "text/html");
  let last = -1;
  request.upload.addEventListener("progress", ({ loaded, total }) => {
    bar.max = total;
    bar.value = loaded;
    const share = Math.floor((100 * loaded) / total);
    // Told at every tenth, so that a screen reader is not talked over.
    if (share - last >= 10 || share === 100) {
      last = share;
      words.textContent = share < 100 ? share + " % sent" : "All sent. It is read now.";
    }
  });
  request.addEventListener("load", () => {
    if (request.status < 400 && new URL(request.responseURL).pathname !== new URL(form.action).pathname) {
      location.assign(request.responseURL);
      return;
    }
    const page = new DOMParser().parseFromString(request.responseText, "text/html");
    const main = page.querySelector("main");
    if (!main) { again("The reply cannot be read (status " + request.status + "). Nothing is known of the file: look at the list before you send it again."); return; }
    document.title = page.title;
    document.querySelector("main").replaceWith(main);
    main.dispatchEvent(new CustomEvent("rungbook:shown", { bubbles: true }));
    main.querySelector(".told, h1")?.scrollIntoView();
    main.focus();
  });
  request.addEventListener("error", () => again("The connection broke before it was all sent. Nothing was kept: send it again."));
  request.send(new FormData(form));
}
document.addEventListener("submit", sendWithProgress);

// A part of a page on which the server works is looked at again, until it is done. What has the focus stays as it is.
async function lookAgain(part) {
  const seconds = Number(part?.dataset.again);
  if (!seconds) return;
  await new Promise((wake) => setTimeout(wake, seconds * 1000));
  try {
    const answer = await fetch(location.pathname, { headers: { accept: "text/html" }, cache: "no-store" });
    if (!answer.ok || new URL(answer.url).pathname !== location.pathname) return;
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").getElementById(part.id);
    if (!fresh) return;
    if (!part.contains(document.activeElement)) {
      part.replaceChildren(...fresh.childNodes);
      part.dispatchEvent(new CustomEvent("rungbook:shown", { bubbles: true }));
      if (!fresh.dataset.again) {
        delete part.dataset.again;
        const told = document.getElementById(part.id + "-told");
        if (told) told.textContent = "Nothing is being made any more.";
      }
    }
  } catch { /* The link stays. */ }
  lookAgain(part);
}
lookAgain(document.querySelector("[data-again]"));

// Dragging across a plot with a mouse or a pen comes nearer. A finger scrolls, and has the links.
function nearer(plot) {
  const { from, to, left, right, width } = plot.dataset;
  const begin = Date.parse(from), span = Date.parse(to) - Date.parse(from);
  const at = (event) => {
    const box = plot.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * width;
    return Math.min(Math.max((x - left) / (right - left), 0), 1);
  };
  let start = null, mark = null;
  plot.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch" || event.button !== 0) return;
    event.preventDefault();
    start = at(event);
    mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    mark.setAttribute("class", "chosen");
    mark.setAttribute("y", "22");
    mark.setAttribute("height", "230");
    plot.append(mark);
    plot.setPointerCapture(event.pointerId);
  });
  const x = (share) => Number(left) + share * (right - left);
  plot.addEventListener("pointermove", (event) => {
    if (start === null) return;
    const [a, b] = [start, at(event)].sort((one, other) => one - other);
    mark.setAttribute("x", x(a));
    mark.setAttribute("width", x(b) - x(a));
  });
  plot.addEventListener("pointerup", (event) => {
    if (start === null) return;
    const [a, b] = [start, at(event)].sort((one, other) => one - other);
    start = null;
    mark.remove();
    if (b - a < 0.01) return;
    const place = new URL(location.href);
    place.hash = "";
    place.searchParams.delete("around");
    place.searchParams.set("from", new Date(begin + a * span).toISOString());
    place.searchParams.set("to", new Date(begin + b * span).toISOString());
    location.assign(place);
  });
  plot.addEventListener("pointercancel", () => { start = null; mark?.remove(); });
}
for (const plot of document.querySelectorAll("svg.plot[data-from]")) nearer(plot);
for (const hint of document.querySelectorAll(".with-script")) hint.hidden = false;
})();
