// Counts the seconds of shaking down, with a tone at its start, each ten seconds, and a
// long one at its end.
import { h } from "./elements.js";
import { tones } from "./sound.js";
import { stayAwake } from "./touch.js";

const TICK_MS = 100, EACH_S = 10;

// `seconds` gives how long; `began` is told the moment the first shaking began.
export function shaker({ seconds, began, clock = () => performance.now() }) {
  const left = h("p", { class: "shake-left", role: "timer", "aria-live": "off" });
  const says = h("p", { class: "unseen", role: "status" });
  const button = h("button", { type: "button", class: "quiet shake" });
  let timer = null, until = 0, told = 0, release = () => {};

  function show(remaining) {
    left.textContent = `${remaining} s`;
  }

  function rest(words = "") {
    clearInterval(timer);
    timer = null;
    release();
    release = () => {};
    button.textContent = `Shake for ${seconds()} s`;
    says.textContent = words;
    if (!words) show(seconds());
  }

  function look() {
    const remaining = Math.max(0, Math.ceil((until - clock()) / 1000));
    show(remaining);
    if (!remaining) {
      tones.reached();
      rest("Shaken long enough.");
      left.textContent = "Done";
    } else if (remaining < told && remaining % EACH_S === 0) {
      told = remaining;
      tones.change();
    }
  }

  button.addEventListener("click", () => {
    tones.unlock();
    if (timer) return rest();
    until = clock() + seconds() * 1000;
    told = seconds();
    began();
    tones.hit(0);
    release = stayAwake() ?? release;
    says.textContent = "Shake.";
    button.textContent = "Stop";
    timer = setInterval(look, TICK_MS);
    return look();
  });
  rest();
  return { part: h("div", { class: "shaker" }, left, button, says), stop: () => rest(), refresh: () => { if (!timer) rest(); } };
}
