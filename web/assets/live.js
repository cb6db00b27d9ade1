// Looks again when something changed, and says loudly when it cannot.
"use strict";
(() => {
  const lost = document.getElementById("lost");
  const patience = 30000; // ms without a word
  let heard = Date.now();
  let busy = false, again = false;
  const since = () => {
    lost.hidden = false; document.body.classList.add("old");
    // What a gate was is no guide to what it is: nobody must read it from a page that is old.
    for (const gate of document.querySelectorAll(".gate, .gateline")) { gate.className = gate.className.split(" ")[0] + " shut"; gate.textContent = lost.dataset.gate; }
  };
  const found = () => { heard = Date.now(); lost.hidden = true; document.body.classList.remove("old"); };
  // What somebody is filling in stays as it is; only what lives beside it is renewed.
  // And nothing is renewed under a finger, for a moment: what is pressed would be gone before it is let go.
  let pressed = 0, waiting = false;
  const held = () => Date.now() - pressed < 2000;
  const released = () => { pressed = 0; if (waiting) { waiting = false; look(); } };
  addEventListener("pointerdown", () => { pressed = Date.now(); setTimeout(() => { if (!held()) released(); }, 2100); }, true);
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => setTimeout(released, 50), true);
  const still = () => document.querySelector("main.still") !== null || document.activeElement?.closest("main form") != null;
  function renew(page) {
    const fresh = page.querySelector("main");
    if (!still()) document.querySelector("main").replaceWith(fresh);
    else for (const part of document.querySelectorAll("main [data-live]")) {
      const other = page.getElementById(part.id);
      if (other && !part.contains(document.activeElement)) part.replaceWith(other);
    }
    for (const id of ["as-of", "raised", "late"]) document.getElementById(id)?.replaceWith(page.getElementById(id));
    document.title = page.title;
    document.dispatchEvent(new Event("renewed"));
  }
  async function look() {
    if (busy) { again = true; return; }
    busy = true; again = false;
    try {
      const answer = await fetch(location.href, { cache: "no-store" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!answer.ok || !page.querySelector("main")) throw new Error(answer.status);
      if (held()) waiting = true; else renew(page);
      found();
    } catch { since(); } finally { busy = false; if (again) look(); }
  }
  const stream = new EventSource("/live");
  stream.addEventListener("view", look);
  stream.addEventListener("ping", () => { if (lost.hidden) heard = Date.now(); else look(); });
  setInterval(() => { if (Date.now() - heard > patience) { since(); if (stream.readyState === EventSource.CLOSED) look(); } }, 1000);
})();
