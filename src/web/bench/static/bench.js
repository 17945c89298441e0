// Keeps the countdown and the tester's value moving on an open run sheet, and looks again when the
// sheet has moved on. Without this script the same page does everything, by reload.
"use strict";

(() => {
  const now = document.getElementById("now");
  if (!now) return;
  const at = (id) => document.getElementById(id);
  const left = at("left");
  let end = left ? performance.now() + 1000 * Number(left.dataset.left) : null;

  const words = (seconds) => {
    const whole = Math.max(0, Math.ceil(seconds));
    const [m, s] = [Math.floor(whole / 60), whole % 60];
    if (m === 0) return `${s} s`;
    return s === 0 ? `${m} min` : `${m} min ${s} s`;
  };

  const tick = () => {
    if (end !== null && left) left.textContent = words((end - performance.now()) / 1000);
  };

  // What somebody is typing is never taken away: then a line says that the sheet has moved on.
  const typing = () =>
    [...document.querySelectorAll("main input:not([type=hidden])")].some(
      (field) => field === document.activeElement && field.value !== field.defaultValue,
    );

  const again = () => {
    if (typing()) at("moved").hidden = false;
    else location.reload();
  };

  let wasOver = left ? Number(left.dataset.left) <= 0 : false;

  async function look() {
    if (document.hidden) return;
    let live;
    try {
      const answer = await fetch(`/v1/bench/${now.dataset.bench}/live`, { cache: "no-store" });
      if (!answer.ok) return;
      live = await answer.json();
    } catch {
      return;
    }
    if (String(live.opened) !== now.dataset.opened || String(live.version) !== now.dataset.version) {
      again();
      return;
    }
    const value = at("value");
    if (value && live.value) {
      value.textContent = live.value.words;
      const seconds = live.value.duration_s;
      at("seconds").textContent = seconds === null ? "" : `after ${seconds} s`;
    }
    if (live.left_s === null) return;
    // A countdown that begins, or one that is over, changes what the page says.
    const over = live.left_s <= 0;
    if (!left || over !== wasOver) {
      wasOver = over;
      again();
      return;
    }
    end = performance.now() + 1000 * live.left_s;
  }

  setInterval(tick, 250);
  setInterval(look, 1000);
})();
