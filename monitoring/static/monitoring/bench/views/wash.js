// Wash bags: which, how, for how long, held against the protocol; kept without a network.
import { bagsNow } from "../acts.js";
import { field } from "../controls.js";
import { h } from "../elements.js";
import { loadPrefs } from "../prefs.js";
import { shaker } from "../shaker.js";
import { tones } from "../sound.js";
import { MOST, WashBags } from "../wash_bags.js";
import { MEASURES, asked, departures, usual } from "../wash_values.js";
import { many } from "../words.js";

const MOST_WASHES = 10;

// The site's own caution, kept with the page.
const care = () => document.getElementById("wash-care").content.cloneNode(true);

function measureFields(protocol) {
  return MEASURES.map((one) => {
    const input = h("input", { type: "number", inputmode: "decimal", step: one.whole ? "1" : "any", min: String(one.min), max: String(one.max), required: Boolean(one.required), value: usual(protocol, one) });
    const says = asked(protocol, one);
    const hint = `${one.min} to ${one.max.toLocaleString("en")}. ${says ? `The protocol asks ${says}.` : "The protocol does not say."}${one.required ? "" : " Empty if nobody looked."}`;
    return { ...one, input, row: field(one.label, input, hint) };
  });
}

const valuesOf = (fields) => Object.fromEntries(fields.map(({ name, input }) => [name, input.value === "" ? null : Number(input.value)]));

// What somebody must mend first, in words; "" when it can be kept.
function whyNot(fields, bags, number) {
  if (!bags.chosen.size) return "Choose the bags first: scan their labels, or tick them.";
  if (bags.chosen.size > MOST) return `At most ${MOST} bags are washed in one batch, and ${bags.chosen.size} are chosen. Take some out, and keep them as a batch of their own.`;
  if (!number.checkValidity() || number.value === "") return `The wash number is a whole number from 1 to ${MOST_WASHES}.`;
  const wrong = fields.find(({ input }) => !input.checkValidity());
  return wrong ? `${wrong.label}: write a ${wrong.whole ? "whole number" : "number"} from ${wrong.min} to ${wrong.max.toLocaleString("en")}.` : "";
}

export async function view({ store, kit, root }) {
  await loadPrefs(store, kit);
  const { protocol } = kit;
  const fields = measureFields(protocol), shakeS = fields.find(({ name }) => name === "shake_s").input;
  const number = h("input", { type: "number", min: "1", max: String(MOST_WASHES), step: "1", required: true, value: "1" });
  const note = h("textarea", { rows: "2", maxlength: "2000" });
  const says = h("p", { class: "said", role: "status" }), problem = h("p", { class: "problem", role: "alert" });
  const departing = h("div", { role: "status" }), keep = h("button", {}, "Washed");
  let begun = null, busy = false;
  const say = (words) => { says.textContent = words; problem.textContent = ""; };
  const refuse = (words) => { tones.refused(); says.textContent = ""; problem.textContent = words; };
  const bags = new WashBags({
    number: () => Number(number.value) || 1, refuse, said: say,
    changed: () => { keep.textContent = bags.chosen.size ? `${many(bags.chosen.size, "bag")} washed` : "Washed"; },
  });
  const timer = shaker({ seconds: () => Number(shakeS.value) || 30, began: () => { begun ??= store.now().toISOString(); } });
  const load = async () => bags.show([...(await bagsNow(store, store.kit())).values()]);

  function look() {
    const found = departures(protocol, valuesOf(fields));
    departing.replaceChildren(...(found.length ? [h("div", { class: "note warn" }, h("p", {}, `Departs from the protocol: ${found.join("; ")}. It can be kept so, and is flagged.`))] : []));
    timer.refresh();
  }

  async function enter(event) {
    event.preventDefault();
    tones.unlock();
    const why = whyNot(fields, bags, number);
    if (why) return refuse(why);
    if (busy) return null; // a second tap before the first is on disk
    busy = true;
    const payload = { bags: [...bags.chosen], number: Number(number.value), washed_at: begun ?? store.now().toISOString(), ...valuesOf(fields), note: note.value.trim() };
    try {
      await store.append([{ kind: "wash", payload }]);
    } catch (error) {
      return refuse(error.message);
    } finally {
      busy = false;
    }
    bags.chosen.clear();
    begun = null;
    note.value = "";
    timer.stop();
    await load();
    tones.reached();
    return say(`${many(payload.bags.length, "bag")} washed (wash ${payload.number}). Kept on this device; the site enters them as a batch, which can be corrected there.`);
  }

  number.addEventListener("input", load);
  for (const { input } of fields) input.addEventListener("input", look);
  const form = h("form", { class: "wash-form", novalidate: true, onsubmit: enter },
    h("div", {}, field("Wash number", number, "1 for the first wash of a bag, 2 for a repeat of it."), bags.list),
    h("div", {}, h("fieldset", {}, h("legend", {}, "How"), fields.map(({ row }) => row)), departing, timer.part, field("Note", note, "Anything out of the ordinary."), h("div", { class: "actions" }, keep), problem, says));
  const scan = bags.scanForm();
  root.replaceChildren(h("h1", {}, "Wash bags"),
    h("p", { class: "lead" }, "For the lab: scan the bags that are washed alike, shake, and keep it. Works without a network."),
    h("section", { class: "wash-care", "aria-label": "Caution" }, care()), scan, form);
  // A round being filled in is not pulled away: only what changes its bags redraws them.
  let known = "";
  const follow = async () => {
    const now = JSON.stringify([...(await bagsNow(store, store.kit())).values()].map(({ id, way, washes }) => [id, way, washes]));
    if (now !== known) { known = now; await load(); }
  };
  store.addEventListener("change", follow);
  store.addEventListener("kit", follow);
  look();
  await follow();
  return () => {
    timer.stop();
    scan.dispatchEvent(new Event("bench:close"));
    store.removeEventListener("change", follow);
    store.removeEventListener("kit", follow);
  };
}
