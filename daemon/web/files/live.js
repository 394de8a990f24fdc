// Renews the parts that have changed, and says by this page's own clock whether anything moves.
"use strict";
(() => {
  const heart = document.getElementById("heart");
  const says = document.getElementById("heart-says");
  const patience = 5, whose = document.body.dataset.whose;
  let heard = performance.now(), quiet = 0, busy = false, everHeard = false;

  const news = new EventSource(document.body.dataset.live);
  news.onmessage = (event) => {
    const told = JSON.parse(event.data);
    heard = performance.now();
    quiet = told.quiet_s;
    busy = told.busy;
    everHeard = true;
    for (const [name, html] of Object.entries(told.parts)) {
      const place = document.getElementById(name);
      if (place) place.innerHTML = html;
    }
    look();
  };

  function look() {
    const silent = (performance.now() - heard) / 1000;
    let words, state;
    if (silent > patience) {
      state = "dead";
      words = `NOTHING HEARD from ${whose} for ${Math.round(silent)} s: this page is blind`;
    } else if (!everHeard) {
      state = "still";
      words = `waiting for ${whose}`;
    } else if (!busy) {
      state = "still";
      words = `${whose} is there; nothing runs`;
    } else if (quiet + silent > patience) {
      state = "dead";
      words = `NO NEW READING for ${Math.round(quiet + silent)} s`;
    } else {
      state = "alive";
      words = `moving: last reading ${(quiet + silent).toFixed(0)} s ago`;
    }
    if (heart.className !== state) heart.className = state;
    if (says.textContent !== words) says.textContent = words;
  }
  setInterval(look, 500);

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || /INPUT|SELECT|TEXTAREA/.test(event.target.tagName)) return;
    for (const one of document.querySelectorAll("[data-key]")) {
      if (one.dataset.key === event.key) {
        event.preventDefault();
        if (one.tagName === "SUMMARY") one.focus(); else one.click();
      }
    }
  });
})();
