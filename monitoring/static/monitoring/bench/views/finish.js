// Read a reading back, and confirm it by another key than the one that asked for it.
import { h } from "../elements.js";
import { showFinished } from "../finished_page.js";
import { listen } from "../keyboard.js";
import { shownKey } from "../keys.js";
import { openReading } from "../opening.js";
import { loadPrefs } from "../prefs.js";
import { readTable } from "../read_table.js";
import { doubts, leftOver, readWords, rowsOf, spokenRow, unsettled } from "../readback.js";
import { bagWords } from "../sayings.js";
import { tones } from "../sound.js";
import { makeTouch } from "../touch.js";

// Reasons for places left unread, chosen by the keys of the first organisms.
const UNREAD_REASONS = ["ran out of time", "dish dried out or spilt", "too dirty to go on", "enough for the purpose"];
const SHOWN_PLACES = 8;

// What is not read, and why; `choose` takes the reason of a key.
function unreadPart(left, touch) {
  if (!left.length) return { part: null, why: () => "", choose: () => false };
  const input = h("input", { type: "text", maxlength: "200", id: "unread-why" });
  const choose = (slot) => {
    if (UNREAD_REASONS[slot]) input.value = UNREAD_REASONS[slot];
    return Boolean(UNREAD_REASONS[slot]);
  };
  const buttons = UNREAD_REASONS.map((words, i) => {
    const button = h("button", { type: "button", class: "quiet" }, `${i + 1} ${words}`);
    touch(button, `organism ${i + 1}`);
    return button;
  });
  const some = `${left.slice(0, SHOWN_PLACES).join(", ")}${left.length > SHOWN_PLACES ? " and more" : ""}`;
  const part = h("section", { class: "note warn" },
    h("p", {}, `${left.length} chosen ${left.length === 1 ? "place is" : "places are"} not read: ${some}. Go back and read them, or say why not:`),
    h("div", { class: "actions" }, buttons), h("label", { for: "unread-why" }, "Why they are not read"), input);
  return { part, why: () => input.value.trim(), choose };
}

// Why the reading cannot end as it is, in words; "" if it can.
function whyNot({ readOnly, lost, left, why }) {
  if (readOnly) return "Another tab counts this bag.";
  if (lost.length) return `There are presses in ${lost.join(", ")}, which is not said to be read. Go back, and press the key for the next cell or undo them.`;
  if (left.length && !why) return "Say why the chosen places are not read, or go back and read them.";
  return "";
}

// The read-back itself; `finished` is called once the end is on disk.
function readBack({ opened, rows, root, store, go, prefs, readOnly, sayAgain, finished }) {
  const left = leftOver(opened), lost = unsettled(opened), says = h("p", { class: "problem", role: "alert" });
  const refuse = (words) => {
    tones.refused();
    says.textContent = words;
    says.scrollIntoView({ block: "center" });
  };
  let busy = false;
  async function confirm() {
    const why = unread.why(), wrong = whyNot({ readOnly, lost, left, why });
    if (wrong) return refuse(wrong);
    if (busy) return null;
    busy = true;
    const totals = Object.fromEntries(rows.map((row) => [row.organism.id, row.count]));
    try {
      const [event] = await store.append([{ kind: "finish", reading: opened.id, payload: { totals, unread_why: why } }]);
      opened.live.take(event);
    } catch (error) {
      busy = false;
      return refuse(error.message);
    }
    tones.reached();
    listener.stop();
    return finished();
  }
  const toCount = () => go(`tally/${opened.id}`);
  const acts = { next: confirm, say: sayAgain, back: toCount, undo: toCount };
  const act = (action) => {
    if (action.startsWith("organism ") && unread.choose(Number(action.slice(9)) - 1)) return null;
    return acts[action] ? acts[action]() : refuse("That key has no meaning here: confirm, or go back.");
  };
  const listener = listen({ prefs, act, refuse, wake: () => tones.unlock() });
  const unread = unreadPart(left, makeTouch({ act, refuse }));
  const button = (kind, words, action) => h("button", { type: "button", class: kind, onclick: acts[action] }, `${words} `, h("kbd", {}, shownKey(listener.bound, action, prefs.own)));
  const page = h("section", { class: "finish", tabindex: "-1", "aria-label": "Read back" }, h("h1", {}, "Read back"),
    h("p", { class: "lead" }, `${opened.bag ? `${bagWords(opened.bag)}. ` : ""}${readWords(opened)}.`), readTable(rows, opened),
    h("p", { class: "muted" }, "Provisional, made on this device; the server makes the final figure from the same presses."),
    doubts(opened).map((words) => h("p", { class: "note warn" }, words)), unread.part, says,
    h("div", { class: "actions" }, button("button", "Confirm and finish", "next"), button("quiet", "Back to the count", "back"), button("quiet", "Say it again", "say")));
  root.replaceChildren(page);
  page.focus({ preventScroll: true });
  return () => listener.stop();
}

export async function view({ store, kit, go, root, param, readOnly }) {
  const prefs = await loadPrefs(store, kit), opened = await openReading(store, kit, param);
  if (opened.why) {
    root.replaceChildren(h("h1", {}, "Read back"), h("p", { class: "note warn" }, opened.why), h("p", {}, h("a", { href: "#/pick" }, "Choose a bag")));
    return null;
  }
  const rows = rowsOf({ kit, ...opened });
  const spoken = `${rows.map((row) => spokenRow(row, opened.bag?.tissue ?? "unit")).join(" ")} ${readWords(opened)}.`;
  const sayAgain = () => tones.speak(spoken, { asked: true });
  let close = () => {};
  const finished = async () => { close = await showFinished({ opened, root, store, go, sayAgain, rows }); };
  if (opened.live.ended?.kind === "finish") await finished();
  else {
    close = readBack({ opened, rows, root, store, go, prefs, readOnly, sayAgain, finished });
    tones.speak(spoken);
  }
  return () => close();
}
