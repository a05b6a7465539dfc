// What is asked before a count begins; what was answered last stands as default.
import { choice, field } from "./controls.js";
import { h } from "./elements.js";
import { SLOTS } from "./keys.js";
import { keepPrefs, loadPrefs } from "./prefs.js";
import { PILOT_CELLS, newSeed } from "./sampling.js";
import { bagWords } from "./sayings.js";
import { tones } from "./sound.js";

const SCOPES = [["cells", "random cells"], ["whole", "whole dish"], ["none", "not counted"]];
const MOST_WASHES = 10;
const PRECISIONS = [0.1, 0.15, 0.2, 0.3];

// Few predators and thrips lie in a dish: they are looked for in all of it.
const usualScope = (organism) => (organism.role === "predator" || organism.position > 0 ? "whole" : "cells");

const SEEN = "This dish was counted already by others; you will not see their figures. Yours is kept beside theirs as a recount.";
const SEEN_HERE = "This dish was counted on this device already. Yours is kept beside that count as a recount.";
const OPEN_HERE = "A count of this dish is open on this device. Go on with it from the list of bags, unless this is to be a recount.";

// What is known of earlier counts of a dish, by the site and by this device, in words.
function countedBefore(bag, mine, wash, number) {
  const here = mine.filter((row) => row.bag === bag.id && row.wash_number === wash && row.dish_number === number);
  if ((bag.counted ?? []).some((one) => one.wash === wash && one.dish_number === number)) return SEEN;
  if (here.some((row) => row.state === "finished")) return SEEN_HERE;
  return here.some((row) => row.state === "open") ? OPEN_HERE : "";
}

function scopeQuestions(kit, prefs) {
  return kit.organisms.map((one) => {
    const select = choice(SCOPES, prefs.scopes[one.id] ?? usualScope(one));
    return { id: one.id, select, row: field(one.name, select) };
  });
}

function numberInput(value, most) {
  return h("input", { type: "number", min: "1", max: String(most), value: String(value), required: true });
}

function precisionChoice(kit, prefs) {
  const usual = prefs.wantedCv ?? kit.wanted_cv, known = new Set([...PRECISIONS, usual]);
  return choice([...known].sort().map((cv) => [cv, `${Math.round(cv * 100)} in 100`]), usual);
}

function questions(kit, bag, prefs) {
  const dishes = kit.dishes.map((dish) => [dish.id, `${dish.name}: ${dish.inner_diameter_mm} mm, ${dish.cells.length} cells`]);
  const usual = kit.dishes.find((dish) => dish.id === prefs.dish) ?? kit.dishes.find((dish) => dish.is_usual) ?? kit.dishes[0];
  return {
    dish: choice(dishes, usual?.id),
    wash: numberInput(Math.max(1, ...(bag.washes ?? [])), MOST_WASHES),
    number: numberInput(1, 20),
    magnification: h("input", { type: "number", min: "1", max: "1000", step: "any", value: String(prefs.magnification ?? "") }),
    precision: precisionChoice(kit, prefs),
    recount: h("input", { type: "checkbox" }),
    scopes: scopeQuestions(kit, prefs),
  };
}

function payloadOf(asked, { kit, bag }) {
  const organisms = asked.scopes.filter(({ select }) => select.value !== "none").map(({ id, select }) => ({ id, scope: select.value }));
  return {
    bag: bag.id, wash_number: Number(asked.wash.value), dish: asked.dish.value, dish_number: Number(asked.number.value),
    organisms, organism_set: kit.organism_set, seed: newSeed(), wanted_cv: Number(asked.precision.value), pilot: kit.pilot_cells ?? PILOT_CELLS,
    magnification: asked.magnification.value ? Number(asked.magnification.value) : null,
    recount: asked.recount.checked, blind: asked.recount.checked, page_version: kit.page_version ?? "",
  };
}

// Why these answers cannot begin a reading; "" if they can.
function whyNot({ organisms, dish }) {
  if (!dish) return "The laboratory has described no dish yet. Describe one on the site, then open this page once with a network.";
  if (!organisms.length) return "Choose at least one organism to count.";
  if (organisms.length > SLOTS) return `A reading counts at most ${SLOTS} organisms: one key each under one hand. Leave some out and count them in a second reading.`;
  return "";
}

async function begin(asked, { store, kit, bag, go, once }, says) {
  const payload = payloadOf(asked, { kit, bag }), why = whyNot(payload);
  says.textContent = why;
  // A second tap before the tally opens would begin a second reading.
  if (why || once.begun) return;
  once.begun = true;
  tones.unlock();
  const reading = crypto.randomUUID();
  try {
    await store.append([{ kind: "start", reading, payload }]);
  } catch (error) {
    once.begun = false;
    tones.refused();
    says.textContent = error.message;
    return;
  }
  // The reading has begun, whether or not there is room for what was answered.
  await keepPrefs(store, kit, {
    dish: payload.dish, magnification: payload.magnification, wantedCv: payload.wanted_cv,
    scopes: Object.fromEntries(asked.scopes.map(({ id, select }) => [id, select.value])),
  }).catch((error) => console.warn("the answers were not kept", error));
  tones.change();
  go(`tally/${reading}`);
}

export async function startForm({ store, kit, bag, go, back }) {
  const prefs = await loadPrefs(store, kit), asked = questions(kit, bag, prefs), mine = await store.readings();
  const says = h("p", { class: "problem", role: "alert" }), once = { begun: false };
  const counted = h("p", { class: "note" });
  const look = () => {
    const words = countedBefore(bag, mine, Number(asked.wash.value), Number(asked.number.value));
    counted.hidden = !words;
    counted.textContent = words;
    asked.recount.checked = words === SEEN || words === SEEN_HERE;
  };
  asked.wash.addEventListener("input", look);
  asked.number.addEventListener("input", look);
  look();
  const recount = h("label", { class: "choice" }, asked.recount, " This is a recount of a dish that was counted before");
  const form = h("form", { class: "start", onsubmit: (event) => { event.preventDefault(); begin(asked, { store, kit, bag, go, once }, says); } },
    h("h2", {}, bagWords(bag)), h("p", { class: "lead" }, `${bag.round.block}, ${bag.round.farm}, ${bag.round.collected_on}; ${bag.position ?? ""} ${bag.tissue}`),
    counted, says, h("div", { class: "actions" }, h("button", { "data-start": "" }, "Start counting"), h("button", { type: "button", class: "quiet", onclick: back }, "Another bag")),
    h("div", { class: "start-fields" }, h("fieldset", {}, h("legend", {}, "What is counted, and how"), asked.scopes.map(({ row }) => row), field("Standard error wanted, of the total from cells", asked.precision)),
      h("fieldset", {}, h("legend", {}, "Dish"), field("Dish", asked.dish), field("Dish number", asked.number, "Where one wash filled several dishes."), field("Wash number", asked.wash, "2 or more for a repeat wash of the same bag."), field("Magnification (times)", asked.magnification), recount)));
  return form;
}
