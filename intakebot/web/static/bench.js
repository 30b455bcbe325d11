/* Shows how long the step has been running. The page is complete without it. */
"use strict";
(function () {
  const clock = document.querySelector("[data-since]");
  if (!clock) return;
  const since = new Date(clock.dataset.since);
  const shown = clock.querySelector(".running");
  function tick() {
    const seconds = Math.max(0, Math.floor((Date.now() - since.getTime()) / 1000));
    const minutes = Math.floor(seconds / 60);
    shown.textContent = "(" + minutes + ":" + String(seconds % 60).padStart(2, "0") + ")";
  }
  tick();
  setInterval(tick, 1000);
}());
