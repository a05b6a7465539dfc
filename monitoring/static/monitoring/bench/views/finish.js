// Read a reading back, confirm it by another key, and say where it is.
import { fetchFigure, showFigure } from "../figure.js";
import { h } from "../elements.js";
import { listen } from "../keyboard.js";
import { shownKey } from "../keys.js";
import { mark } from "../marks.js";
import { openReading } from "../opening.js";
import { loadPrefs } from "../prefs.js";
import { doubts, leftOver, readWords, rowsOf, spokenRow, unsettled } from "../readback.js";
import { bagWords, withInterval } from "../sayings.js";
import { tones } from "../sound.js";
import { makeTouch } from "../touch.js";
import { whereItIs } from "../where.js";

// Reasons for places left unread, chosen by the keys of the first organisms.
const UNREAD_REASONS = ["ran out of time", "dish dried out or spilt", "too dirty to go on", "enough for the purpose"];

function readTable(rows, opened) {
  const unit = opened.bag?.tissue ?? "unit", heads = ["Organism", "Counted", "In the dish", `Per ${unit}`];
  const cell = (at, words) => h("td", { class: "number", "data-head": heads[at] }, words);
  return h("div", { class: "table-wrap", tabindex: "0", role: "region", "aria-label": "What was counted" }, h("table", { class: "readback" }, h("thead", {}, h("tr", {}, heads.map((head, i) => h("th", { scope: "col", class: i ? "number" : false }, head)))),
    h("tbody", {}, rows.map(({ organism, count, given, total, unit: per }) => h("tr", { class: `organism-${opened.slots.get(organism.id) + 1}` },
      h("th", { scope: "row" }, mark(opened.slots.get(organism.id) ?? 0), " ", h("span", { class: "name" }, organism.name)), h("td", { class: "number big", "data-head": heads[1] }, given ? "not countable" : String(count)),
      cell(2, given ? "" : total ? withInterval(total) : "too little was read to tell"), cell(3, per ? withInterval(per) : given || !total ? "" : "no recovery is known here"))))));
}

function unreadPart(left, touch, choose) {
  if (!left.length) return { part: null };
  const why = h("input", { type: "text", maxlength: "200", id: "unread-why" });
  const buttons = UNREAD_REASONS.map((words, i) => {
    const button = h("button", { type: "button", class: "quiet" }, `${i + 1} ${words}`);
    touch(button, `organism ${i + 1}`);
    return button;
  });
  choose.set = (slot) => { if (UNREAD_REASONS[slot]) why.value = UNREAD_REASONS[slot]; };
  const some = left.slice(0, 8).join(", ");
  const part = h("section", { class: "note warn" }, h("p", {}, `${left.length} chosen ${left.length === 1 ? "place is" : "places are"} not read: ${some}${left.length > 8 ? " and more" : ""}. Go back and read them, or say why not:`),
    h("div", { class: "actions" }, buttons), h("label", { for: "unread-why" }, "Why they are not read"), why);
  return { part, why };
}

async function done({ opened, root, store, go, sayAgain, rows }) {
  const figure = h("section", { class: "figure", "aria-live": "polite" });
  const next = h("button", { type: "button", onclick: () => go("pick") }, "Next bag");
  const where = h("p", { class: "where-it-is", role: "status" });
  root.replaceChildren(h("h1", {}, "Finished"), h("p", { class: "lead" }, opened.bag ? bagWords(opened.bag) : ""), where, figure, readTable(rows, opened),
    h("p", { class: "muted", "data-provisional": "" }, `Provisional, made on this device. ${readWords(opened)}.`), h("div", { class: "actions" }, next, h("button", { type: "button", class: "quiet", onclick: sayAgain }, "Say it again")));
  next.focus();
  const refresh = async () => {
    const row = await store.reading(opened.id), { words, sent } = await whereItIs(store, row);
    where.textContent = words;
    if (sent && !figure.dataset.shown) showFigure(figure, await fetchFigure(opened.id), root);
  };
  await refresh();
  store.addEventListener("change", refresh);
  return () => store.removeEventListener("change", refresh);
}

export async function view({ store, kit, go, root, param, readOnly }) {
  const prefs = await loadPrefs(store, kit), opened = await openReading(store, kit, param);
  if (opened.why) return root.replaceChildren(h("h1", {}, "Read back"), h("p", { class: "note warn" }, opened.why), h("p", {}, h("a", { href: "#/pick" }, "Choose a bag")));
  const { live } = opened, rows = rowsOf({ kit, ...opened }), left = leftOver(opened), lost = unsettled(opened);
  const spoken = `${rows.map((row) => spokenRow(row, opened.bag?.tissue ?? "unit")).join(" ")} ${readWords(opened)}.`;
  const sayAgain = () => tones.speak(spoken, { asked: true });
  let close = () => {};
  const finished = async () => { close = await done({ opened, root, store, go, sayAgain, rows }); };
  if (live.ended?.kind === "finish") {
    await finished();
    return () => close();
  }
  const says = h("p", { class: "problem", role: "alert" }), choose = { set() {} };
  let busy = false;
  const confirm = async () => {
    const why = unread.why?.value.trim() ?? "";
    if (readOnly || lost.length || (left.length && !why)) {
      tones.refused();
      says.textContent = readOnly ? "Another tab counts this bag." : lost.length ? `There are presses in ${lost.join(", ")}, which is not said to be read. Go back, and press the key for the next cell or undo them.` : "Say why the chosen places are not read, or go back and read them.";
      says.scrollIntoView({ block: "center" });
      return;
    }
    if (busy) return;
    busy = true;
    const totals = Object.fromEntries(rows.map((row) => [row.organism.id, row.count]));
    const payload = { totals, unread_why: why };
    try {
      const [event] = await store.append([{ kind: "finish", reading: param, payload }]);
      live.take(event);
      tones.reached();
      listener.stop();
      await finished();
    } catch (error) {
      tones.refused();
      says.textContent = error.message;
      busy = false;
    }
  };
  const acts = { next: confirm, say: sayAgain, back: () => go(`tally/${param}`), undo: () => go(`tally/${param}`) };
  const act = (action) => {
    if (action.startsWith("organism ") && left.length) choose.set(Number(action.slice(9)) - 1);
    else if (acts[action]) acts[action]();
    else refuse("That key has no meaning here: confirm, or go back.");
  };
  const refuse = (words) => { tones.refused(); says.textContent = words; };
  const listener = listen({ prefs, act, refuse, wake: () => tones.unlock() });
  const touch = makeTouch({ act, refuse }), key = (action) => h("kbd", {}, shownKey(listener.bound, action, prefs.own));
  const unread = unreadPart(left, touch, choose);
  root.replaceChildren(h("section", { class: "finish", tabindex: "-1", "aria-label": "Read back" }, h("h1", {}, "Read back"), h("p", { class: "lead" }, `${opened.bag ? bagWords(opened.bag) : ""}. ${readWords(opened)}.`),
    readTable(rows, opened), h("p", { class: "muted" }, "Provisional, made on this device; the server makes the final figure from the same presses."),
    doubts(opened).map((words) => h("p", { class: "note warn" }, words)), unread.part, says,
    h("div", { class: "actions" }, h("button", { type: "button", onclick: confirm }, "Confirm and finish ", key("next")), h("button", { type: "button", class: "quiet", onclick: acts.back }, "Back to the count ", key("back")), h("button", { type: "button", class: "quiet", onclick: sayAgain }, "Say it again ", key("say")))));
  root.querySelector(".finish").focus({ preventScroll: true });
  tones.speak(spoken);
  return () => {
    listener.stop();
    close();
  };
}
