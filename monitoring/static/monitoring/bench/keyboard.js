// Keys of the tally while its view is open: no key is swallowed, none counts twice.
import { actionOf, bindings, keyName } from "./keys.js";

// Some number pads have a key that sends two noughts at once.
const APART_MS = 25;
const FIELD = "input, textarea, select, [contenteditable]";

// act(action), refuse(words), wake() at each key; prefs: as a person set them.
export function listen({ prefs, act, refuse, wake }) {
  const bound = bindings(prefs);
  let last = { at: -Infinity, code: "" };

  function onKey(event) {
    if (event.defaultPrevented || document.querySelector("dialog[open]")) return;
    const action = actionOf(event, bound);
    if (!action) {
      if (event.key?.length === 1 && !event.repeat && !plain(event)) refuse(`Key ${keyName(event.code)} has no meaning here.`);
      return;
    }
    event.preventDefault();
    const hit = action.startsWith("organism ");
    if (event.repeat && !(hit && prefs.hold)) return;
    wake();
    const twice = action === "next" && event.code === last.code && event.timeStamp - last.at < APART_MS;
    last = { at: event.timeStamp, code: event.code };
    if (twice) refuse("Twice at once: taken once.");
    else act(action);
  }
  document.addEventListener("keydown", onKey);
  return { bound, stop: () => document.removeEventListener("keydown", onKey) };
}

// With a modifier, in a field, or Space on a button: the browser's own business.
function plain(event) {
  const target = event.target instanceof Element ? event.target : document.body;
  return event.ctrlKey || event.altKey || event.metaKey || target.closest(FIELD) || event.key === " ";
}
