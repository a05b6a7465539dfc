// What is told of a reading beside its presses: magnification, score, note, not countable, drop.
import { field, holdButton } from "./controls.js";
import { h } from "./elements.js";

const keepButton = (words, act) => h("button", { type: "button", class: "quiet", onclick: act }, words);

function magnification({ desk, act }) {
  const input = h("input", { type: "number", min: "1", max: "1000", step: "any", required: true, value: String(desk.live.state.magnification ?? "") });
  return [field("Magnification from here on (times)", input, "4 to 100 at most benches."),
    keepButton("Keep the magnification", () => input.reportValidity() && act("magnification", { value: Number(input.value) }))];
}

function score({ kit, desk, act }) {
  if (!kit.scale) return [];
  const { lowest, highest, levels } = kit.scale, named = new Map(levels);
  const options = [h("option", { value: "" }, "not scored")];
  for (let value = lowest; value <= highest; value += 1) {
    options.push(h("option", { value: String(value), selected: value === desk.live.state.score }, named.get(value) ? `${value} ${named.get(value)}` : String(value)));
  }
  const select = h("select", {}, options);
  return [field("Symptom score of the leaf", select), keepButton("Keep the score", () => select.value && act("score", { value: Number(select.value) }))];
}

function note({ act }) {
  const text = h("textarea", { rows: "3", maxlength: "500" });
  return [field("Note", text, "Kept with the reading; 500 signs at most."), keepButton("Keep the note", () => {
    const words = text.value.trim();
    if (words) act("note", { text: words });
    text.value = "";
  })];
}

function notCountable({ opened, act }) {
  return [h("p", {}, "Not countable: the organism's state or the dirt does not allow a count. Its presses then count for nothing. Hold the button."),
    h("div", { class: "actions" }, opened.organisms.map((one) => holdButton(`${one.name} not countable`, () => act("uncountable", { organism: one.id }))))];
}

function drop({ act }) {
  const why = h("input", { type: "text", maxlength: "200", required: true });
  const button = holdButton("Drop this reading", () => {
    why.value = why.value.trim();
    if (why.reportValidity()) act("drop", { why: why.value });
  });
  return [h("p", {}, "Dropping ends the reading without a result; its presses stay on record."), field("Why it is dropped", why), button];
}

// Taking pictures is loaded when first asked for.
async function addPhoto(place, { store, opened }) {
  const { photoButton } = await import("./photo.js");
  place.append(h("section", {}, photoButton({ store, bag: opened.live.started.bag })));
}

// The button that opens all of it; the dialog keeps the tally's keys still while it is open.
export function extrasButton(context) {
  if (context.readOnly) return h("span", {});
  const inside = h("div", { class: "extras-body" });
  const close = h("button", { type: "button", onclick: () => dialog.close() }, "Back to the tally");
  const dialog = h("dialog", { class: "extras", "aria-label": "About this reading" }, h("h2", {}, "About this reading"), inside, h("div", { class: "actions" }, close));
  const act = async (kind, detail) => {
    dialog.close();
    await context.act(kind, detail);
  };
  dialog.addEventListener("close", () => document.querySelector(".tally")?.focus({ preventScroll: true }));
  const open = () => {
    const parts = [magnification, score, note, notCountable, drop];
    inside.replaceChildren(...parts.map((part) => part({ ...context, act })).filter((made) => made.length).map((made) => h("section", {}, made)));
    addPhoto(inside, context);
    dialog.showModal();
  };
  const opener = h("button", { type: "button", class: "quiet extras-open", onclick: open, onmousedown: (event) => event.preventDefault() }, "Note and more");
  return h("div", { class: "extras-place" }, h("a", { href: "#/pick", class: "leave" }, "Other bags"), opener, dialog);
}
