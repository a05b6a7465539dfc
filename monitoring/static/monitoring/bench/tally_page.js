// The tally's page: built once, then filled in after each act.
import { chosenIn } from "./course.js";
import { direction, drawDish } from "./dish.js";
import { h } from "./elements.js";
import { shownKey } from "./keys.js";
import { mark } from "./marks.js";
import { SKIP_REASONS } from "./moves.js";

const SHOWN_PRESSES = 10;
const SIDE = [["undo", "Undo"], ["redo", "Redo"]];
const FOOT = [["next", "Next"], ["back", "Back"], ["skip", "Skip"], ["say", "Say totals"], ["finish", "Finish"]];

const keyCap = (text) => h("kbd", {}, text);

function actButton(page, action, words) {
  const button = h("button", { type: "button", class: `act act-${action}` }, h("span", {}, words), keyCap(page.keyFor(action)));
  page.onTouch(button, action);
  return button;
}

function hitButton(page, organism) {
  const slot = page.desk.slots.get(organism.id);
  const total = h("output", { class: "hit-total" }, "0");
  const note = h("span", { class: "hit-note" });
  const button = h("button", { type: "button", class: `hit organism-${slot + 1}` },
    h("span", { class: "hit-name" }, mark(slot), h("span", { class: "name" }, organism.name), keyCap(page.keyFor(`organism ${slot + 1}`))), total, note);
  page.onTouch(button, `organism ${slot + 1}`);
  return { organism, button, total, note };
}

// Build the page of an opened reading into `root`; gives what fills it in.
export function buildPage({ root, desk, opened, listener, onTouch, prefs, title, extras }) {
  const page = { desk, onTouch, keyFor: (action) => shownKey(listener.bound, action, prefs.own) };
  const picture = drawDish(opened.dish);
  const place = h("p", { class: "place", "data-place": "" });
  const about = h("p", { class: "place-about" });
  const words = h("p", { class: "tally-words", role: "status" });
  const alarm = h("p", { class: "tally-alarm", role: "alert", hidden: true });
  const call = h("section", { class: "call", hidden: true, "aria-label": "How many cells" });
  const skips = h("section", { class: "call skips", hidden: true, "aria-label": "Why skipped" });
  const last = h("ol", { class: "last" });
  const hits = opened.organisms.filter((one) => desk.slots.has(one.id)).map((one) => hitButton(page, one));
  SKIP_REASONS.forEach((why, i) => {
    const button = h("button", { type: "button", class: "quiet" }, `${i + 1} ${why}`);
    onTouch(button, `organism ${i + 1}`);
    skips.append(button);
  });
  skips.prepend(h("p", {}, "Why can it not be read? Presses there will not count."));
  const body = h("section", { class: "tally", tabindex: "-1", "aria-label": "Tally", "data-mirror": prefs.mirror ? "yes" : "no" },
    h("header", { class: "tally-head" }, h("h1", {}, title)),
    h("div", { class: "look" }, h("div", { class: "where" }, place, about, h("div", { class: "side" }, SIDE.map(([action, text]) => actButton(page, action, text)))), picture.svg),
    h("div", { class: "count" }, h("div", { class: "say" }, alarm, words), call, skips,
      h("div", { class: `hits hits-${hits.length}`, role: "group", "aria-label": "Organisms" }, hits.map((hit) => hit.button)),
      h("div", { class: "foot-acts" }, FOOT.map(([action, text]) => actButton(page, action, text))),
      h("h2", { class: "unseen" }, "Last ten presses, newest first"), last, extras));
  root.replaceChildren(body);
  body.focus({ preventScroll: true });
  return Object.assign(page, { body, picture, place, about, words, alarm, call, skips, last, hits, prefs });
}

function aboutPlace({ desk }) {
  const { pass, place } = desk.here, { state } = desk.live, { course } = desk;
  if (desk.awaitsCall) return `${state.read.cells.length} cells read`;
  if (!place) return "All of it is read. Finish when you are ready.";
  const places = chosenIn(course, state, pass), number = places.indexOf(place) + 1;
  if (desk.back && place in state.skipped[pass]) return `Gone back to ${number} of ${places.length}, which was skipped`;
  if (desk.back) return `Gone back to ${number} of ${places.length}: what you count now goes here`;
  if (pass === "whole") return `Whole dish, to the ${direction(Number(place.slice(4)))}; row ${number} of ${places.length}`;
  if (state.called === course.order.length) return `Cell ${number} of all ${places.length}, row by row after the first`;
  return state.called === null ? `Cell ${number} of the first ${places.length}, drawn at random` : `Cell ${number} of ${places.length}, drawn at random`;
}

function markDish({ desk, picture }) {
  const { state } = desk.live, pass = desk.here.pass ?? desk.course.passes.at(-1);
  const { place } = desk.here, read = state.read[pass], skipped = Object.keys(state.skipped[pass]);
  const chosen = chosenIn(desk.course, state, pass), gone = new Set([...read, ...skipped]);
  const left = chosen.filter((name) => !gone.has(name));
  const says = `Picture of the dish: ${place ?? "nothing"} next, ${read.length} read, ${left.length} left, ${skipped.length} skipped.`;
  picture.mark({ pass, next: place, done: read, left, skipped, says });
}

function fillHit({ desk }, { organism, button, total, note }) {
  const { pass, place } = desk.here, away = Boolean(pass) && organism.scope !== pass;
  const given = desk.live.state.uncountable.has(organism.id);
  total.textContent = desk.live.pressed(organism.id).toLocaleString("en");
  button.classList.toggle("away", away || given);
  note.textContent = given ? "not countable" : away ? (organism.scope === "whole" ? "whole dish, later" : "in cells") : place ? `${desk.live.at(organism.id, place)} here` : "";
}

function fillLast({ desk, last }) {
  const presses = desk.live.lastPresses(SHOWN_PRESSES).reverse();
  last.replaceChildren(...presses.map(({ payload }) => h("li", { class: `organism-${desk.slots.get(payload.organism) + 1}` },
    mark(desk.slots.get(payload.organism)), h("span", { class: "last-name" }, desk.names.get(payload.organism)), h("span", { class: "last-place" }, payload.place.replace("row ", "row\u00a0")))));
}

// Fill the page in from the reading as it stands.
export function fillPage(page) {
  const { desk } = page, { place } = desk.here;
  page.place.textContent = place ?? (desk.awaitsCall ? "?" : "Done");
  page.body.dataset.back = desk.back ? "yes" : "no";
  page.about.textContent = aboutPlace(page);
  page.skips.hidden = !desk.skipping;
  page.hits.forEach((hit) => fillHit(page, hit));
  fillLast(page);
  // Presses leave the picture as it is.
  if (page.drawn === desk.live.state && page.drawnPlace === place) return;
  markDish(page);
  page.drawn = desk.live.state;
  page.drawnPlace = place;
}

export function showWords(page, { words, alarm }) {
  page.words.textContent = alarm ? "" : words;
  page.alarm.hidden = !alarm;
  page.alarm.textContent = alarm ? words : "";
}
