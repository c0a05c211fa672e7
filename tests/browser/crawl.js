// Every kind of page that somebody can reach by links.

/// Paths that differ only in codes and numbers show the same kind of page.
export function kindOf(path) {
  const { pathname } = new URL(path, "http://service");
  return pathname
    .split("/")
    .map((part) => (/\d/.test(part) || /^[A-Z]+(-[A-Z0-9]+)+$/.test(part) ? "*" : part))
    .join("/");
}

/// One address of each kind of page, by following links from where `page` is now. Nothing is pressed.
export async function kindsOfPages(page, { each = 1, most = 120 } = {}) {
  const begin = new URL(page.url()).pathname;
  const origin = new URL(page.url()).origin;
  const found = new Map();
  const waiting = [begin];
  const seen = new Set(waiting);
  while (waiting.length > 0 && seen.size < 4000) {
    const path = waiting.shift();
    const kind = kindOf(path);
    const ofKind = found.get(kind) ?? [];
    if (ofKind.length >= each || found.size >= most) continue;
    const answer = await page.goto(origin + path, { waitUntil: "domcontentloaded" });
    const type = answer.headers()["content-type"] ?? "";
    if (!type.startsWith("text/html")) continue;
    found.set(kind, [...ofKind, path]);
    const links = await page.$$eval("a[href], area[href]", (all) => all.map((link) => link.href.baseVal ?? link.href));
    for (const link of links) {
      const url = new URL(link, origin + path);
      if (url.origin !== origin || url.pathname.startsWith("/api/") || /sign-?out|\.(csv|json)$/.test(url.pathname)) continue;
      const next = url.pathname + url.search;
      if (!seen.has(next)) {
        seen.add(next);
        waiting.push(next);
      }
    }
  }
  return [...found.values()].flat();
}
