// Keeps pages and what they are made of: from the server where it answers, from what was kept where not.
"use strict";
const KEPT = "stakeline-1";
const LARGE = /\/series\/|^\/report\/|\.csv$/; // asked for anew each time: every view would be kept

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  const place = new URL(request.url);
  if (request.method !== "GET" || place.origin !== self.location.origin || LARGE.test(place.pathname)) {
    return;
  }
  event.respondWith(answer(request));
});

async function answer(request) {
  const kept = await caches.open(KEPT);
  try {
    const fresh = await fetch(request);
    if (fresh.ok) {
      await kept.put(request, fresh.clone());
    }
    return fresh;
  } catch (problem) {
    const old = await kept.match(request);
    if (old) {
      return old;
    }
    throw problem;
  }
}
