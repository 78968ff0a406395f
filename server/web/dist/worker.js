// Keeps the pages for a kiln shed without a network. What was built is taken from here; everything else is asked of the
// server first, and the last answer to a plain reading stands in where the server cannot be reached. Answers that were
// given to a key are not kept: the key is forgotten with its tab, and so is what it opened.
const VERSION = "fe3cae6a9f6fda0f";
const SHELL = ["/","/assets/index-BZEIzWZH.js","/assets/index-CbLl8tJk.css","/mark.svg"];
const shellCache = "pages-" + VERSION;
const answerCache = "answers";
const mostAnswers = 200;

addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(shellCache)
      .then((cache) => cache.addAll(SHELL))
      .then(() => skipWaiting()),
  );
});

addEventListener("activate", (event) => {
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter((name) => name !== shellCache && name !== answerCache).map((name) => caches.delete(name))))
      .then(() => clients.claim()),
  );
});

addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (request.mode === "navigate") event.respondWith(fetch(request).catch(() => kept(shellCache, "/")));
  else if (url.pathname.startsWith("/v1/")) {
    if (!request.headers.has("Authorization") && !url.pathname.endsWith(":export")) event.respondWith(answered(event));
  } else if (SHELL.includes(url.pathname)) event.respondWith(kept(shellCache, url.pathname).then((found) => (found.ok ? found : fetch(request))));
});

async function kept(name, key) {
  const cache = await caches.open(name);
  return (await cache.match(key)) ?? Response.error();
}

async function answered(event) {
  let response;
  try {
    response = await fetch(event.request);
  } catch {
    const found = await kept(answerCache, event.request);
    return found.ok ? new Response(found.body, { headers: { "Content-Type": "application/json", "Kept-Answer": "1" } }) : found;
  }
  if (response.ok) event.waitUntil(keep(event.request, response.clone()));
  return response;
}

// The newest answers, so that the store does not grow for ever.
async function keep(request, response) {
  const cache = await caches.open(answerCache);
  await cache.delete(request);
  await cache.put(request, response);
  const all = await cache.keys();
  for (const old of all.slice(0, Math.max(0, all.length - mostAnswers))) await cache.delete(old);
}
