// The service worker: opens a run's pages where there is no signal. It sends nothing and decides nothing.
//
// Pages are served `no-store`, so no browser keeps them by itself. The worker keeps a copy of those that the server marks with
// `rungbook-keep: HANDLE`, and of no other, under the handle of whoever it was made for. A copy is shown only where the network
// gave no answer, and says since when it was kept. All copies go when somebody signs out, when the sign-in page is shown, when
// a page of somebody else comes, and after a week. FILES and VERSION are put before this text by the server.
"use strict";

const PUBLIC = "rungbook-files-" + VERSION;
const PRIVATE = "rungbook-pages-";
const KEPT_AT = "rungbook-kept-at";
const KEEPS_FOR_MS = 7 * 24 * 3600 * 1000;
// A page of which there is a copy waits no longer for a network that does not answer.
const WAITS_MS = 8000;
// A copy is not fetched again so soon, so that little goes over a weak signal.
const FRESH_MS = 120_000;

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    await (await caches.open(PUBLIC)).addAll(FILES);
    await self.skipWaiting();
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("rungbook-files-") && name !== PUBLIC) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

async function forget(but = null) {
  for (const name of await caches.keys()) {
    if (name.startsWith(PRIVATE) && name !== PRIVATE + but) await caches.delete(name);
  }
}

// Keeps a copy of a page that the server marks so.
async function keep(path, answer) {
  const person = answer.headers.get("rungbook-keep");
  if (!answer.ok || !person) return;
  await forget(person);
  const headers = new Headers(answer.headers);
  headers.delete("content-encoding");
  headers.delete("content-length");
  headers.set(KEPT_AT, new Date().toISOString());
  const copy = new Response(await answer.text(), { headers });
  await (await caches.open(PRIVATE + person)).put(path, copy);
}

const age = (copy) => Date.now() - Date.parse(copy.headers.get(KEPT_AT));

async function kept(path) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PRIVATE)) continue;
    const cache = await caches.open(name);
    const copy = await cache.match(path);
    if (copy && age(copy) < KEEPS_FOR_MS) return copy;
    if (copy) await cache.delete(path);
  }
  return null;
}

// The copy, with since when it was kept where the page's scripts find it.
async function told(copy) {
  const text = (await copy.text()).replace("<body ", '<body data-kept-at="' + copy.headers.get(KEPT_AT) + '" ');
  return new Response(text, { headers: copy.headers });
}

async function nothing() {
  const style = FILES.find((file) => file.endsWith(".css"));
  const places = [];
  for (const name of await caches.keys()) {
    if (name.startsWith(PRIVATE)) places.push(...(await (await caches.open(name)).keys()).map((request) => new URL(request.url).pathname));
  }
  // Paths are our own and encoded; still nothing of them can become markup.
  const plain = (text) => text.replace(/[&<>"']/g, (sign) => "&#" + sign.charCodeAt(0) + ";");
  const list = places.map((path) => `<li><a href="${plain(path)}">${plain(path.replace(/^\/programmes\//, ""))}</a></li>`).join("");
  const body = `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>No connection · Rungbook</title><link rel="stylesheet" href="${style}"></head><body><div class="columns"><main id="main"><h1>No connection</h1><p>This page is not kept on this device. Go to where there is a signal and load it again.</p>${list ? `<h2>Kept on this device</h2><ul>${list}</ul>` : ""}</main></div></body></html>`;
  const headers = {
    "content-type": "text/html; charset=utf-8",
    "content-security-policy": "default-src 'none'; style-src 'self'; frame-ancestors 'none'; base-uri 'none'",
  };
  return new Response(body, { status: 503, headers });
}

async function page(event, path) {
  const copy = await kept(path);
  const answer = fetch(event.request);
  const noted = answer.then(async (it) => {
    if (path === "/sign-in" && it.ok) return forget();
    await keep(path, it.clone());
  }).catch(() => {});
  event.waitUntil(noted);
  try {
    if (!copy) return await answer;
    const waited = new Promise((_, gone) => setTimeout(() => gone(new Error("no answer")), WAITS_MS));
    return await Promise.race([answer, waited]);
  } catch {
    return copy ? told(copy) : nothing();
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && url.pathname === "/sign-out") event.waitUntil(forget());
  if (request.method !== "GET") return;
  if (url.pathname.startsWith("/assets/")) {
    event.respondWith(caches.match(request).then((known) => known ?? fetch(request)));
  } else if (request.mode === "navigate" && !url.pathname.startsWith("/api/")) {
    event.respondWith(page(event, url.pathname));
  }
});

// A page asks to have itself and the pages that belong to it kept.
self.addEventListener("message", (event) => {
  if (event.data?.forget) event.waitUntil(forget());
  if (!Array.isArray(event.data?.keep)) return;
  event.waitUntil((async () => {
    for (const path of event.data.keep.slice(0, 40)) {
      const copy = await kept(path);
      if (copy && age(copy) < FRESH_MS) continue;
      try {
        await keep(path, await fetch(path, { headers: { accept: "text/html" }, redirect: "error" }));
      } catch {
        return;
      }
    }
  })());
});
