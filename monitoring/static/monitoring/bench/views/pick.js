// Choose the bag to count: one that waits, or by its label.
import { bagsNow } from "../acts.js";
import { offerCamera } from "../camera.js";
import { printed, readCode } from "../codes.js";
import { h } from "../elements.js";
import { startForm } from "../start_form.js";
import { bagWords } from "../sayings.js";
import { many } from "../words.js";

const SHOWN = 60, WAITING = new Set(["planned", "collected", "received", "washed"]);
const WAYS = { planned: "not collected yet", collected: "collected, not received", received: "not washed yet", washed: "washed", counted: "counted", reported: "reported", lost: "lost" };

const oldestFirst = (one, other) =>
  one.round.collected_on.localeCompare(other.round.collected_on) || one.round.block.localeCompare(other.round.block)
  || one.round.id.localeCompare(other.round.id) || one.code.localeCompare(other.code, "en", { numeric: true });

// Bags whose label, number, block or farm holds what was typed.
export function matching(bags, typed) {
  const words = typed.trim().toLowerCase(), code = readCode(typed).code;
  if (code) return bags.filter((bag) => bag.label === code);
  if (!words) return bags.filter((bag) => WAITING.has(bag.way)).sort(oldestFirst);
  const holds = (bag) => `${bag.code} ${bag.label} ${printed(bag.label)} ${bag.round.block} ${bag.round.farm} ${bag.position}`.toLowerCase().includes(words);
  return bags.filter(holds).sort(oldestFirst);
}

function bagRow(bag, choose) {
  const counted = bag.counted?.length ? ", counted once" : "";
  return h("li", {}, h("button", { type: "button", class: "bag-row", onclick: () => choose(bag) },
    h("strong", {}, bag.label ? printed(bag.label) : "no label"), h("span", {}, `bag ${bag.code}, ${bag.position ? `${bag.position} ` : ""}${bag.tissue}`), h("span", { class: "muted" }, `${WAYS[bag.way] ?? bag.way}${counted}`)));
}

// One heading a round, its bags beneath.
function listOf(bags, choose) {
  const rounds = Map.groupBy ? Map.groupBy(bags, (bag) => bag.round.id) : bags.reduce((all, bag) => all.set(bag.round.id, [...(all.get(bag.round.id) ?? []), bag]), new Map());
  return [...rounds.values()].map((of) => h("section", { class: "round-bags" },
    h("h3", {}, `${of[0].round.block}, ${of[0].round.farm}, ${of[0].round.collected_on}`), h("ul", { class: "bag-list" }, of.map((bag) => bagRow(bag, choose)))));
}

async function openReadings({ store, kit, go }) {
  const open = (await store.readings()).filter((row) => row.state === "open");
  if (!open.length) return null;
  const bags = new Map(kit.bags.map((bag) => [bag.id, bag]));
  const rows = open.map((row) => h("li", {}, h("button", { type: "button", class: "bag-row", onclick: () => go(`tally/${row.id}`) },
    h("strong", {}, bags.has(row.bag) ? bagWords(bags.get(row.bag)) : "A bag not kept here"), h("span", {}, `wash ${row.wash_number}, begun ${new Date(row.at).toLocaleString("en", { dateStyle: "medium", timeStyle: "short", hourCycle: "h23" })}`))));
  return h("section", {}, h("h2", {}, "Go on with"), h("ul", { class: "bag-list" }, rows));
}

// The bags as this device knows them: what was collected, washed or finished here since
// it last heard of the site is so already.
async function bagsHere(store) {
  const finished = new Set((await store.readings()).filter((row) => row.state === "finished").map((row) => row.bag));
  const bags = [...(await bagsNow(store, store.kit())).values()];
  return bags.map((bag) => (finished.has(bag.id) && WAITING.has(bag.way) ? { ...bag, way: "counted" } : bag));
}

// A scanner types the label and Enter; so may a person.
function searchForm({ kit, here, choose, results }) {
  const input = h("input", { type: "text", id: "bag-search", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", enterkeyhint: "go" });
  const says = h("p", { class: "problem", role: "alert" });
  const show = () => {
    const found = matching(here.bags, input.value), cut = kit.bags_cut ? ` ${kit.bags_cut}` : "";
    const more = found.length > SHOWN ? ` ${SHOWN} of them are shown: type to find others.` : "";
    results.replaceChildren(h("p", { class: "muted", role: "status" }, `${many(found.length, "bag")} ${input.value.trim() ? "found" : "waiting, oldest first"}.${more}${cut}`), ...listOf(found.slice(0, SHOWN), choose));
    return found;
  };
  const take = (typed) => {
    input.value = typed;
    const found = show(), { why } = readCode(typed);
    says.textContent = found.length ? "" : why && !/does not check|made of/.test(why) && typed.trim() ? "No bag here goes by that. If it is new, bring the device to a network once; else type the label again." : why || `Label ${printed(readCode(typed).code)} is not among the bags kept here. If it is new, bring the device to a network once.`;
    if (found.length === 1 || (found.length && readCode(typed).code)) choose(found[0]);
  };
  const form = h("form", { class: "inline-form pick-form", onsubmit: (event) => { event.preventDefault(); take(input.value); } },
    h("div", { class: "field" }, h("label", { for: "bag-search" }, "Scan or type the label"), input), h("button", {}, "Open"));
  input.addEventListener("input", () => { says.textContent = ""; show(); });
  offerCamera(form, take);
  show();
  return { form, says, input, show };
}

export async function view({ store, kit, go, root }) {
  const results = h("div", { class: "pick-results" }), start = h("div", { class: "pick-start" });
  const choose = async (bag) => {
    start.replaceChildren(await startForm({ store, kit, bag, go, back: () => { start.replaceChildren(); list.hidden = false; input.focus(); } }));
    list.hidden = true;
    start.querySelector("[data-start]")?.focus();
    scrollTo(0, 0);
  };
  const here = { bags: await bagsHere(store) };
  const { form, says, input, show } = searchForm({ kit, here, choose, results });
  const open = await openReadings({ store, kit, go });
  const list = h("div", {}, h("p", { class: "lead" }, "For whoever counts: scan the bag, then count it by keys with both eyes in the microscope."), form, says, open, h("h2", {}, "Bags"), results);
  root.replaceChildren(h("h1", {}, "Count a bag"), list, start);
  input.focus();
  const follow = async () => {
    here.bags = await bagsHere(store);
    show();
  };
  store.addEventListener("kit", follow);
  return () => {
    store.removeEventListener("kit", follow);
    form.dispatchEvent(new Event("bench:close"));
  };
}
