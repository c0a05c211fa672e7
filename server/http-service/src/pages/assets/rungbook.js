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

// Beside each field for a UTC time, what was typed as the time where the reader is.
function tellTypedTime(field) {
  const told = document.createElement("span");
  told.className = "here";
  field.insertAdjacentElement("afterend", told);
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
  tellLocalTime(root);
  for (const field of root.querySelectorAll("input[type=datetime-local]")) tellTypedTime(field);
  for (const button of root.querySelectorAll("button[data-print]")) {
    button.hidden = false;
    button.addEventListener("click", () => window.print());
  }
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
})();
