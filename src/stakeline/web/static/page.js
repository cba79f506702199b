// What every page does: keep itself at hand for when the server is away.
"use strict";
if ("serviceWorker" in navigator) {
  navigator.serviceWorker.register("/offline.js");
}
