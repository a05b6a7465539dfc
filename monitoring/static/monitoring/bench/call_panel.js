// After the first cells: how many the wanted precision takes, and what they buy.
import { minutesFor } from "./course.js";
import { h } from "./elements.js";
import { inHundred } from "./sayings.js";
import { many } from "./words.js";

function timeWords(minutes) {
  if (minutes === null) return "";
  return minutes < 1.5 ? ", about a minute at your pace" : `, about ${Math.round(minutes)} minutes at your pace`;
}

// The sentences of the call: what was seen, what is asked, what it buys.
export function callWords(desk) {
  const { plan, course, live } = desk, read = live.state.read.cells.length;
  const more = plan.cells - read, all = course.order.length;
  const name = desk.names.get(plan.organism) ?? "the organism";
  const pace = timeWords(minutesFor(live, "cells", more));
  const found = `${many(plan.seen, "animal")} (${name.toLowerCase()}) in ${many(read, "cell")}.`;
  if (!Number.isFinite(plan.now)) return { found: `${many(read, "cell")} read.`, asked: "Too few could be read to tell how many more are needed.", buys: "" };
  if (plan.cells === all) {
    return { found, asked: `So few, or so uneven, that all ${all} cells are to be read: ${more} more${pace}.`, buys: `Then the dish is counted without error of sampling; now it would be off by about ${inHundred(plan.now)}.` };
  }
  return {
    found, asked: `For ${inHundred(course.started.wanted_cv)} read ${many(plan.cells, "cell")} in all: ${more} more${pace}.`,
    buys: `Expected standard error of the total: now ${inHundred(plan.now)}, then ${inHundred(plan.then)}. The number is fixed before they are read, whatever they hold.`,
  };
}

export function fillCall({ call, desk, keyFor, onTouch }) {
  const shown = desk.awaitsCall && !desk.ended;
  if (!shown) {
    call.hidden = true;
    return;
  }
  if (!call.hidden) return;
  const { found, asked, buys } = callWords(desk);
  const agree = h("button", { type: "button", class: "button" }, `Read ${desk.plan.cells} cells `, h("kbd", {}, keyFor("next")));
  onTouch(agree, "next");
  const stop = `Enough with these: finish now (${keyFor("finish")}), with the wider interval.`;
  call.replaceChildren(h("h2", {}, "How many cells"), h("p", {}, found), h("p", { class: "asked" }, asked), h("p", {}, buys), agree, h("p", { class: "muted" }, stop));
  call.hidden = false;
}
