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
    for (const gate of document.querySelectorAll(".gate, .gateline")) { gate.className = gate.className.split(" ")[0] + " shut"; gate.textContent = "Gate: NOT KNOWN. Keep out."; }
  };
  const found = () => { heard = Date.now(); lost.hidden = true; document.body.classList.remove("old"); };
  async function look() {
    if (busy) { again = true; return; }
    busy = true; again = false;
    try {
      const answer = await fetch(location.href, { cache: "no-store" });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.querySelector("main");
      if (!answer.ok || !fresh) throw new Error(answer.status);
      document.querySelector("main").replaceWith(fresh);
      document.getElementById("as-of").replaceWith(page.getElementById("as-of"));
      document.title = page.title;
      found();
    } catch { since(); } finally { busy = false; if (again) look(); }
  }
  const stream = new EventSource("/live");
  stream.addEventListener("view", look);
  stream.addEventListener("ping", () => { if (lost.hidden) heard = Date.now(); else look(); });
  setInterval(() => { if (Date.now() - heard > patience) { since(); if (stream.readyState === EventSource.CLOSED) look(); } }, 1000);
})();
