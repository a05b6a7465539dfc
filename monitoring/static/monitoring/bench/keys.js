// Which key does what, for each person: one hand, no chords, home row or number pad.
// Keys are known by where they lie (KeyboardEvent.code), so a layout changes nothing.

export const SLOTS = 8;
export const ACTIONS = [
  ...Array.from({ length: SLOTS }, (_, i) => `organism ${i + 1}`),
  "next", "undo", "redo", "back", "skip", "say", "finish",
];
export const WORDS = {
  next: "Next cell or row; agree", undo: "Undo the last", redo: "Do again what was undone",
  back: "Go back one cell or row", skip: "Skip this cell or row", say: "Say the totals",
  finish: "Read back and finish",
};
const NUMBER_PAD = {
  next: ["Numpad0", "NumpadEnter", "Digit0", "Enter"], undo: ["NumpadDecimal", "NumpadComma", "Backspace"],
  redo: ["NumpadAdd"], back: ["NumpadSubtract"], skip: ["NumpadMultiply"],
  say: ["Numpad9", "Digit9"], finish: ["NumpadDivide"],
};
const RIGHT_HAND = {
  organisms: ["KeyJ", "KeyK", "KeyL", "Semicolon", "KeyU", "KeyI", "KeyO", "KeyP"],
  next: ["Space"], undo: ["KeyM"], redo: ["Comma"], back: ["KeyH"], skip: ["KeyY"], say: ["Period"], finish: ["Slash"],
};
const LEFT_HAND = {
  organisms: ["KeyF", "KeyD", "KeyS", "KeyA", "KeyR", "KeyE", "KeyW", "KeyQ"],
  next: ["Space"], undo: ["KeyV"], redo: ["KeyC"], back: ["KeyG"], skip: ["KeyT"], say: ["KeyX"], finish: ["KeyZ"],
};
const SIGNS = {
  Semicolon: ";", Comma: ",", Period: ".", Slash: "/", Space: "Space", Backspace: "⌫", Enter: "Enter",
  NumpadEnter: "pad Enter", NumpadDecimal: "pad .", NumpadComma: "pad ,", NumpadAdd: "pad +", NumpadSubtract: "pad −",
  NumpadMultiply: "pad ×", NumpadDivide: "pad ÷", Minus: "-", Equal: "=", Quote: "'", BracketLeft: "[", BracketRight: "]",
  Backslash: "\\", Backquote: "`", IntlBackslash: "<", ArrowLeft: "←", ArrowRight: "→", ArrowUp: "↑", ArrowDown: "↓",
};
// Keys that a browser or a screen reader needs; a person cannot give them another meaning.
const NOT_OURS = /^(Tab|Escape|F\d+|(Control|Shift|Alt|Meta)(Left|Right)|CapsLock|NumLock|ContextMenu|Unidentified)$/;
const PEDAL = /^F(1[3-9]|2[0-4])$/;

// What a person reads on the key.
export function keyName(code) {
  return SIGNS[code] ?? code.replace(/^Key|^Digit/, "").replace(/^Numpad/, "pad ");
}

export const canBind = (code) => Boolean(code) && (PEDAL.test(code) || !NOT_OURS.test(code));

// The bindings of a person: {code: action}. mirror: for the left hand. own: what they changed.
export function bindings({ mirror = false, own = {} } = {}) {
  const hand = mirror ? LEFT_HAND : RIGHT_HAND;
  const bound = {};
  for (let i = 0; i < SLOTS; i += 1) {
    for (const code of [`Numpad${i + 1}`, `Digit${i + 1}`, hand.organisms[i]]) bound[code] = `organism ${i + 1}`;
  }
  for (const set of [NUMBER_PAD, hand]) {
    for (const [action, codes] of Object.entries(set)) {
      if (action !== "organisms") for (const code of codes) bound[code] = action;
    }
  }
  for (const [code, action] of Object.entries(own)) {
    if (ACTIONS.includes(action)) bound[code] = action;
    else delete bound[code];
  }
  return bound;
}

export function keysOf(bound, action) {
  return Object.keys(bound).filter((code) => bound[code] === action);
}

// The key shown beside an action: the person's own, else of the home row.
export function shownKey(bound, action, own = {}) {
  const codes = keysOf(bound, action);
  const mine = codes.filter((code) => own[code]);
  const first = mine[0] ?? codes.find((code) => /^Key|^Semi|^Comma|^Period|^Slash|^Space/.test(code)) ?? codes[0];
  return first ? keyName(first) : "no key";
}

const TEXT = "input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea, select, [contenteditable]";
const PRESSABLE = "button, a[href], summary, input, [role=button]";

// The action of a key press, or null where the key is none of the page's business: with a
// modifier, in a field, or Enter and Space on something that they would press.
export function actionOf(event, bound) {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return null;
  const target = event.target instanceof Element ? event.target : document.body;
  if (target.closest(TEXT)) return null;
  if (["Enter", "Space", "NumpadEnter"].includes(event.code) && target.closest(PRESSABLE)) return null;
  return bound[event.code] ?? null;
}
