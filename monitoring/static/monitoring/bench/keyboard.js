// Keys of the tally while its view is open: no key is swallowed, none counts twice.
import { actionOf, bindings, keyName } from "./keys.js";

// Some number pads have a key that sends two noughts at once.
const APART_MS = 25;
// No finger follows another so soon: two keys under one finger, or a scanner that types a label.
const HASTY_MS = 12;
const FIELD = "input, textarea, select, [contenteditable]";

// act(action), refuse(words), wake() at each key; prefs: as a person set them.
export function listen({ prefs, act, refuse, wake }) {
  const bound = bindings(prefs);
  let last = { at: -Infinity, code: "" };

  function onKey(event) {
    if (event.defaultPrevented || document.querySelector("dialog[open]")) return;
    const action = actionOf(event, bound);
    const since = event.timeStamp - last.at, other = event.code !== last.code;
    if (typed(event)) last = { at: event.timeStamp, code: event.code };
    if (other && since < HASTY_MS && typed(event)) {
      event.preventDefault();
      refuse("Two keys at once: the second was not taken. To scan a label, leave the count first.");
      return;
    }
    if (!action) {
      if (event.key?.length === 1 && !event.repeat && typed(event) && event.key !== " ") refuse(`Key ${keyName(event.code)} has no meaning here.`);
      return;
    }
    event.preventDefault();
    const hit = action.startsWith("organism ");
    if (event.repeat && !(hit && prefs.hold)) return;
    wake();
    if (action === "next" && !other && since < APART_MS) refuse("Twice at once: taken once.");
    else act(action);
  }
  document.addEventListener("keydown", onKey);
  return { bound, stop: () => document.removeEventListener("keydown", onKey) };
}

// Typed at the tally itself: without a modifier, and not in a field.
function typed(event) {
  const target = event.target instanceof Element ? event.target : document.body;
  const modifies = ["Control", "Shift", "Alt", "Meta", "CapsLock", "NumLock"].includes(event.key);
  return !(modifies || event.ctrlKey || event.altKey || event.metaKey || target.closest(FIELD));
}
