// The service worker: keeps the capture page and its static files on the phone,
// so that it opens without a link, and sends what waits when the phone says that
// there is one again. Nothing of any build, person or photo is ever kept here.
self.window = self; // tus-js-client looks for it
importScripts("asset:js/vendor/idb.js", "asset:js/vendor/tus.min.js", "asset:js/queue-store.js", "asset:js/queue-send.js");

const name = "farbay-shell";
const shell = "/capture/shell";
const kept = [
  "asset:css/look.css", "asset:css/coats.css", "asset:css/office.css", "asset:css/capture.css", "asset:font/besley-latin.woff2", "asset:icon.svg",
  "asset:icon-maskable-192.png", "asset:js/once.js", "asset:js/vendor/idb.js", "asset:js/vendor/tus.min.js", "asset:js/queue-store.js",
  "asset:js/queue-send.js", "asset:js/capture.js", "asset:js/capture-queue.js",
];
const patience = 4000; // milliseconds for a weak link to bring the page

async function keep() {
  const cache = await caches.open(name);
  const fresh = new Request(shell, { cache: "no-store", credentials: "omit" });
  const answer = await fetch(fresh);
  if (!answer.ok || answer.redirected) throw new Error(`${shell}: ${answer.status}`);
  const have = new Set((await cache.keys()).map((request) => new URL(request.url).pathname));
  await cache.addAll(kept.filter((path) => !have.has(path)));
  await cache.put(shell, answer);
  for (const path of have) if (path !== shell && !kept.includes(path)) await cache.delete(path);
}

self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(keep());
});
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

// The page asks for it after each visit with a link: signing out has cleared it.
self.addEventListener("message", (event) => {
  if (event.data === "keep") event.waitUntil(caches.open(name).then((cache) => cache.match(shell)).then((there) => there ?? keep()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { pathname, origin } = new URL(request.url);
  if (origin !== location.origin) return;
  if (request.method === "POST" && pathname === "/sign-out") {
    // What the page knows of builds and people goes with the person; what waits
    // to be sent stays, for them alone.
    event.waitUntil(Promise.all([caches.delete(name), farbayStore.forget()]));
    return;
  }
  if (request.method !== "GET") return;
  if (request.mode === "navigate" && pathname === "/capture") event.respondWith(page(request));
  else if (kept.includes(pathname)) event.respondWith(caches.match(request, { cacheName: name }).then((there) => there ?? fetch(request)));
});

// page brings the page of the server while the link is good enough for it.
async function page(request) {
  const waiting = new AbortController();
  const timer = setTimeout(() => waiting.abort(), patience);
  try {
    const answer = await fetch(request, { signal: waiting.signal });
    if (answer.status < 500) return answer;
  } catch {
    // No link, or none worth the name.
  } finally {
    clearTimeout(timer);
  }
  return (await caches.match(shell, { cacheName: name })) ?? fetch(request);
}

self.addEventListener("sync", (event) => {
  if (event.tag !== "farbay-capture") return;
  event.waitUntil(farbaySend.pass().then((end) => {
    // A sync that fails is tried again by the browser, later.
    if (end.kind === "link" || end.kind === "server") throw new Error(end.kind);
  }));
});
