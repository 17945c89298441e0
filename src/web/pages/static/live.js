// Keeps an open page fresh: each part marked `data-live` with the events that concern it is fetched
// again when one happens, and exchanged when it changed. Without this script the page is the same,
// only not by itself.
"use strict";

(() => {
  // Where the stream cannot be had, the page asks by itself.
  const POLL = 15000;
  // Many readings in a second are one change to look at.
  const SOON = 400, REST = 4000;
  const marked = () => [...document.querySelectorAll("[data-live][id]")];
  if (marked().length === 0) return;
  const wanted = new Set(marked().flatMap((part) => part.dataset.live.split(" ")));

  // What somebody is typing or reading with the keyboard is never taken away.
  const inUse = (part) => part.contains(document.activeElement) || part.querySelector("details[open]");

  let last = 0;
  async function refresh() {
    if (document.hidden) return;
    last = Date.now();
    let answer;
    try {
      answer = await fetch(location.href, { headers: { accept: "text/html" }, cache: "no-store" });
    } catch {
      return;
    }
    if (!answer.ok || answer.redirected) return;
    const now = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const part of marked()) {
      const other = now.getElementById(part.id);
      if (!other || inUse(part) || other.innerHTML === part.innerHTML) continue;
      part.replaceChildren(...other.childNodes);
      part.classList.remove("fresh");
      void part.offsetWidth;
      part.classList.add("fresh");
    }
  }

  let waiting = 0;
  function soon() {
    if (waiting) return;
    const pause = Math.max(SOON, last + REST - Date.now());
    waiting = setTimeout(() => { waiting = 0; refresh(); }, pause);
  }

  // A browser opens few connections to one service: a page that nobody sees keeps none.
  let stream = null;
  function listen() {
    const asset = document.querySelector("[data-asset]")?.dataset.asset;
    stream = new EventSource("/v1/stream" + (asset ? "?asset=" + encodeURIComponent(asset) : ""));
    for (const event of [...wanted, "gap"]) stream.addEventListener(event, soon);
  }
  function attend() {
    if (document.hidden) {
      stream?.close();
      stream = null;
    } else if (!stream) {
      listen();
      if (last) soon();
    }
  }
  setInterval(() => { if (stream?.readyState !== EventSource.OPEN) refresh(); }, POLL);
  document.addEventListener("visibilitychange", attend);
  addEventListener("pagehide", () => { stream?.close(); stream = null; });
  addEventListener("pageshow", attend);
})();
