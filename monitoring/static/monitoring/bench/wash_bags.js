// Which bags a wash is of: those that wait for it, chosen by label or by hand.
import { roundsOf, walked } from "./acts.js";
import { findBag, nameOf } from "./collecting.js";
import { h } from "./elements.js";
import { scanForm } from "./scan_form.js";
import { tones } from "./sound.js";

const UNWASHED = new Set(["collected", "received"]);
export const MOST = 100;

// Whether a bag can have the wash of this number next.
export function waitsFor(bag, number) {
  if (bag.way === "lost" || bag.washes.includes(number)) return false;
  return number === 1 ? UNWASHED.has(bag.way) || bag.way === "planned" : bag.washes.includes(number - 1);
}

// Why a bag that was scanned cannot be chosen; "" if it can.
export function whyNot(bag, number) {
  if (bag.way === "lost") return `${nameOf(bag)} is lost. Mark it as found on its page or while collecting first.`;
  if (bag.washes.includes(number)) return `${nameOf(bag)} has its wash ${number} already. A repeat is wash ${number + 1}.`;
  return waitsFor(bag, number) ? "" : `${nameOf(bag)} has no wash ${number - 1} yet.`;
}

export class WashBags {
  constructor({ number, changed, refuse, said }) {
    Object.assign(this, { number, changed, refuse, said });
    this.chosen = new Set();
    this.bags = [];
    this.list = h("div", { class: "wash-bags" });
  }

  show(bags) {
    this.bags = bags;
    const waiting = bags.filter((bag) => waitsFor(bag, this.number()) && (bag.way !== "planned" || this.chosen.has(bag.id)));
    const here = new Set(waiting.map((bag) => bag.id));
    this.chosen = new Set([...this.chosen].filter((id) => here.has(id)));
    this.list.replaceChildren(...(waiting.length
      ? roundsOf(waiting).map((round) => this.#round(round))
      : [h("p", { class: "empty" }, "No bag waits for this wash. Bags turn up here once they are collected or received.")]));
    this.changed();
  }

  #round(round) {
    const bags = walked(round.bags), boxes = bags.map((bag) => this.#box(bag));
    const all = h("button", { type: "button", class: "plain", onclick: () => {
      const every = bags.every((bag) => this.chosen.has(bag.id));
      bags.forEach((bag) => (every ? this.chosen.delete(bag.id) : this.chosen.add(bag.id)));
      this.show(this.bags);
    } }, bags.every((bag) => this.chosen.has(bag.id)) ? "None of these" : "All of these");
    return h("fieldset", {}, h("legend", {}, `${round.block}, ${round.farm}, ${round.collected_on} `), all, h("div", { class: "wash-grid" }, boxes));
  }

  #box(bag) {
    const box = h("input", { type: "checkbox", checked: this.chosen.has(bag.id), onchange: () => {
      if (box.checked) this.chosen.add(bag.id);
      else this.chosen.delete(bag.id);
      this.changed();
    } });
    return h("label", { class: "choice" }, box, ` ${nameOf(bag)} `, h("span", { class: "muted small" }, `bag ${bag.code}${bag.position ? `, ${bag.position}` : ""}`));
  }

  take(typed) {
    const { bag, why } = findBag(this.bags, null, typed);
    const refusal = why || whyNot(bag, this.number());
    if (refusal) return this.refuse(refusal);
    if (this.chosen.has(bag.id)) return this.said(`${nameOf(bag)} is chosen already.`);
    if (this.chosen.size >= MOST) return this.refuse(`At most ${MOST} bags are washed in one batch.`);
    tones.change();
    this.chosen.add(bag.id);
    this.show(this.bags);
    return this.said(`${nameOf(bag)} chosen.`);
  }

  scanForm() {
    const take = (typed) => {
      tones.unlock();
      return this.take(typed);
    };
    return scanForm({ id: "wash-scan", label: "Scan or type a label: it is chosen", words: "Choose it", take });
  }
}
