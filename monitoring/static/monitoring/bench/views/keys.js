// Each person's keys, sounds and hand.
import { field } from "../controls.js";
import { h } from "../elements.js";
import { ACTIONS, SLOTS, WORDS, bindings, canBind, keyName, keysOf } from "../keys.js";
import { mark } from "../marks.js";
import { keepPrefs, loadPrefs } from "../prefs.js";
import { tones } from "../sound.js";
import { dress } from "../surroundings.js";

const SOUNDS = { undo: "undo", redo: "redo", next: "change", skip: "change", back: "change", finish: "reached" };

function named(action, kit) {
  if (!action.startsWith("organism ")) return WORDS[action];
  const slot = Number(action.slice(9)) - 1, organism = kit.organisms[slot];
  return h("span", {}, mark(slot), " ", h("span", { class: "name" }, organism ? organism.name : `organism in place ${slot + 1}`));
}

// Wait for one key; what a browser or screen reader needs is not taken.
function learn(button, says, done) {
  const before = button.textContent;
  button.textContent = "Press the key";
  const stop = () => {
    document.removeEventListener("keydown", onKey, true);
    button.removeEventListener("blur", stop);
    button.textContent = before;
  };
  function onKey(event) {
    event.preventDefault();
    event.stopPropagation();
    stop();
    if (event.code === "Escape") says.textContent = "Nothing was changed.";
    else if (!canBind(event.code)) says.textContent = `${event.key} is needed by the browser or a screen reader. Choose another key.`;
    else done(event.code);
  }
  document.addEventListener("keydown", onKey, true);
  button.addEventListener("blur", stop);
}

function soundOf(action) {
  tones.unlock();
  if (action.startsWith("organism ")) tones.hit(Number(action.slice(9)) - 1);
  else if (SOUNDS[action]) tones[SOUNDS[action]]();
}

function keyTable({ store, kit, prefs, says, again }) {
  const bound = bindings(prefs);
  const rebind = async (action, code) => {
    const was = bound[code];
    await keepPrefs(store, kit, { own: { ...prefs.own, [code]: action } });
    again(`${keyName(code)} means “${action.startsWith("organism ") ? action : WORDS[action]}” now${was && was !== action ? "; it had another meaning before" : ""}.`);
  };
  const row = (action) => {
    const change = h("button", { type: "button", class: "quiet", "aria-label": `Give a key to ${WORDS[action] ?? action}` }, "Give a key");
    change.addEventListener("click", () => learn(change, says, (code) => rebind(action, code)));
    const hear = h("button", { type: "button", class: "plain", "aria-label": `Hear ${WORDS[action] ?? action}`, onclick: () => soundOf(action) }, "Hear");
    return h("tr", {}, h("th", { scope: "row" }, named(action, kit)), h("td", {}, keysOf(bound, action).map((code) => h("kbd", { class: prefs.own[code] ? "mine" : false }, keyName(code)))), h("td", { class: "key-acts" }, change, action === "say" ? null : hear));
  };
  const shown = ACTIONS.filter((action) => !action.startsWith("organism ") || Number(action.slice(9)) <= Math.max(kit.organisms.length, 4) && Number(action.slice(9)) <= SLOTS);
  return h("div", { class: "table-wrap", tabindex: "0", role: "region", "aria-label": "Keys" }, h("table", { class: "keys" }, h("caption", {}, "Keys work on the tally's page alone. Number pads, scanners and pedals are keyboards: give their keys a meaning here."),
    h("thead", {}, h("tr", {}, ["Act", "Keys", "Change"].map((head) => h("th", { scope: "col" }, head)))), h("tbody", {}, shown.map(row))));
}

function choices({ store, kit, prefs, again }) {
  const keep = async (changes, words) => {
    await keepPrefs(store, kit, changes);
    again(words);
  };
  const box = (words, name, hint) => {
    const input = h("input", { type: "checkbox", checked: prefs[name] });
    input.addEventListener("change", () => keep({ [name]: input.checked }, "Kept."));
    return h("div", { class: "field" }, h("label", { class: "choice" }, input, ` ${words}`), h("p", { class: "hint" }, hint));
  };
  const volume = h("input", { type: "range", min: "0", max: "1", step: "0.1", value: String(prefs.volume) });
  volume.addEventListener("change", async () => {
    await keepPrefs(store, kit, { volume: Number(volume.value) });
    soundOf("organism 1");
  });
  return h("section", {}, h("h2", {}, "Sound and hand"), field("Volume of the tones", volume, "Far left is off. Whatever is heard is on the screen too."),
    box("Say cells, undone acts and refusals aloud", "speech", "By the browser's own voice, where the device has one. Totals are said on their key in any case."),
    box("Vibrate where the device can", "vibrate", "A short buzz for each press, a longer one for what was refused."),
    box("Keys of the left hand", "mirror", "The home row of the other hand, and the page mirrored for it."),
    box("A key held down goes on counting", "hold", "Off, a key held down counts once, however long."));
}

function colours({ store }) {
  const select = h("select", {}, [["dark", "Dark, for a dim room"], ["red", "Red on black, for eyes used to the dark"], ["light", "Light"]].map(([value, words]) => h("option", { value, selected: document.documentElement.dataset.palette === value }, words)));
  select.addEventListener("change", async () => {
    await store.keepSetting("palette", select.value);
    await dress(store);
  });
  return h("section", {}, h("h2", {}, "Colours"), field("Colours of this device", select, "Organisms differ by shape as well; nothing hangs on colour."));
}

export async function view({ store, kit, root }) {
  const prefs = await loadPrefs(store, kit), says = h("p", { role: "status", class: "said" });
  const body = h("div", {});
  const fill = (words = "") => {
    const held = document.activeElement?.getAttribute("aria-label");
    const part = { store, kit, prefs, says, again: fill };
    const forget = h("button", { type: "button", class: "quiet", onclick: async () => { await keepPrefs(store, kit, { own: {} }); fill("The keys are as they came."); } }, "All keys as they came");
    body.replaceChildren(keyTable(part), h("div", { class: "actions" }, forget), h("div", { class: "start-fields" }, choices(part), colours(part)));
    says.textContent = words;
    if (held) body.querySelector(`[aria-label="${CSS.escape(held)}"]`)?.focus();
  };
  root.replaceChildren(h("h1", {}, "Keys and sounds"), h("p", { class: "lead" }, `Of ${kit.person.name}, on this device. For one hand, without a second key held.`), says, body);
  fill();
}
