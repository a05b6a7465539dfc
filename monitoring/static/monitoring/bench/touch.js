// Touches on the tally: what counts is the moment of touching, and one key at a time.

const APART_MS = 40;

// Let `button` press on touch; `press` gets the action. The last touch is shared by all keys.
export function makeTouch({ act, refuse }) {
  let last = { at: -Infinity, action: "" };
  function taken(event, action) {
    const close = event.timeStamp - last.at < APART_MS && action !== last.action;
    if (close) refuse("Two keys touched at once: the second was not taken.");
    else last = { at: event.timeStamp, action };
    return !close;
  }
  return function onTouch(button, action) {
    button.addEventListener("pointerdown", (event) => {
      if (event.button > 0) return;
      // Focus stays with the tally, so that Enter and Space go on meaning the next cell.
      event.preventDefault();
      if (taken(event, action)) act(action);
    });
    // A screen reader or a switch clicks without touching.
    button.addEventListener("click", (event) => {
      if (event.detail === 0 && event.pointerType !== "touch" && event.pointerType !== "mouse") act(action);
    });
    for (const kind of ["mousedown", "contextmenu"]) button.addEventListener(kind, (event) => event.preventDefault());
  };
}

// Keep the screen on while a view is open; gives what lets it go.
export function stayAwake() {
  let lock = null, wanted = true;
  const ask = async () => {
    if (!wanted || document.visibilityState !== "visible") return;
    lock = await navigator.wakeLock?.request("screen").catch(() => null);
    if (!wanted) lock?.release();
  };
  document.addEventListener("visibilitychange", ask);
  ask();
  return () => {
    wanted = false;
    document.removeEventListener("visibilitychange", ask);
    lock?.release();
  };
}
