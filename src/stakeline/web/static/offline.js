// Keeps pages and what they are made of: from the server where it answers, from what was kept where not.
"use strict";
const KEPT = "stakeline-1";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const request = event.request;
  if (request.method !== "GET" || new URL(request.url).origin !== self.location.origin) {
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
