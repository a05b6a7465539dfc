// The table of what was counted, of the dish and of a leaf, as the page makes it.
import { h } from "./elements.js";
import { mark } from "./marks.js";
import { allSeen, withInterval } from "./sayings.js";

const NOT_COUNTABLE = "not countable";

function dishWords({ given, total }) {
  if (given) return "";
  if (!total) return "too little was read to tell";
  return allSeen(total) ? `${total.total.toLocaleString("en")}, all of it seen` : withInterval(total);
}

function unitWords({ given, total, unit }) {
  if (unit) return withInterval(unit);
  return given || !total ? "" : "no recovery is known here";
}

// rows: as `rowsOf` gives them; opened: the reading with its slots and bag.
export function readTable(rows, opened) {
  const heads = ["Organism", "Counted", "In the dish", `Per ${opened.bag?.tissue ?? "unit"}`];
  const cell = (at, words, big = "") => h("td", { class: `number${big}`, "data-head": heads[at] }, words);
  const line = (row) => {
    const slot = opened.slots.get(row.organism.id) ?? 0;
    return h("tr", { class: `organism-${slot + 1}` },
      h("th", { scope: "row" }, mark(slot), " ", h("span", { class: "name" }, row.organism.name)),
      cell(1, row.given ? NOT_COUNTABLE : row.count.toLocaleString("en"), " big"), cell(2, dishWords(row)), cell(3, unitWords(row)));
  };
  const head = h("tr", {}, heads.map((words, i) => h("th", { scope: "col", class: i ? "number" : false }, words)));
  const table = h("table", { class: "readback" }, h("thead", {}, head), h("tbody", {}, rows.map(line)));
  return h("div", { class: "table-wrap", tabindex: "0", role: "region", "aria-label": "What was counted" }, table);
}
