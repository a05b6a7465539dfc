// Questions and buttons of the bench.
import { h } from "./elements.js";

let fields = 0;

// One question: its label, the control, and what is expected of it.
export function field(label, control, hint = "") {
  fields += 1;
  control.id ||= `bench-field-${fields}`;
  const words = hint ? h("p", { class: "hint", id: `${control.id}-hint` }, hint) : null;
  if (words) control.setAttribute("aria-describedby", words.id);
  return h("div", { class: "field" }, h("label", { for: control.id }, label), control, words);
}

export function choice(options, value, attributes = {}) {
  return h("select", attributes, options.map(([key, words]) =>
    h("option", { value: String(key), selected: String(key) === String(value) }, words)));
}

export function tick(label, checked, attributes = {}) {
  return h("label", { class: "choice" }, h("input", { type: "checkbox", checked: Boolean(checked), ...attributes }), ` ${label}`);
}

const HOLD_MS = 800;

// A button that acts only when held, by pointer or by Enter or Space: for what destroys.
export function holdButton(words, act) {
  let timer = null;
  const stop = () => {
    clearTimeout(timer);
    timer = null;
    button.classList.remove("held");
  };
  const begin = (event) => {
    if (timer || (event.type === "keydown" && !["Enter", " "].includes(event.key))) return;
    if (event.type === "keydown") event.preventDefault();
    button.classList.add("held");
    timer = setTimeout(() => {
      stop();
      act();
    }, HOLD_MS);
  };
  const button = h("button", { class: "quiet hold", type: "button", onpointerdown: begin, onkeydown: begin }, words);
  for (const end of ["pointerup", "pointerleave", "pointercancel", "keyup", "blur"]) button.addEventListener(end, stop);
  return button;
}
