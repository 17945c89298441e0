// Keeps an open page fresh: whatever is marked `data-live` is fetched again and exchanged when it
// changed. Without this script the page is the same, only not by itself.
"use strict";

(() => {
  const EVERY = 15000;
  const marked = () => document.querySelectorAll("[data-live][id]");
  if (marked().length === 0) return;

  // What somebody is typing or reading with the keyboard is never taken away.
  const inUse = (part) => part.contains(document.activeElement) || part.querySelector("details[open]");

  async function refresh() {
    if (document.hidden) return;
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
  const soon = () => {
    clearTimeout(waiting);
    waiting = setTimeout(refresh, 300);
  };
  setInterval(refresh, EVERY);
  document.addEventListener("visibilitychange", soon);
})();
