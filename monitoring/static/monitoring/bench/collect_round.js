// One round's walk: the next bag, how far it is, and what was collected last.
import { collectBag, findBag, loseBag, nameOf, takeBack } from "./collecting.js";
import { holdButton } from "./controls.js";
import { h } from "./elements.js";
import { nextCard, rowsOf } from "./collect_parts.js";
import { scanForm } from "./scan_form.js";
import { tones } from "./sound.js";

const NOW = { collected: "collected", received: "received", washed: "washed", counted: "counted", reported: "reported", lost: "lost" };

class Walk {
  constructor(context) {
    Object.assign(this, context);
    this.skipped = new Set();
    this.chosen = null;
    this.last = null;
    this.busy = false;
  }

  // The bag to go to: the one chosen, else the next on the walk, skipped ones last.
  next(mine) {
    const left = mine.filter((bag) => bag.way === "planned");
    return left.find((bag) => bag.id === this.chosen) ?? left.find((bag) => !this.skipped.has(bag.id)) ?? left[0] ?? null;
  }

  say(words) {
    this.places.says.textContent = words;
    this.places.problem.textContent = "";
  }

  refuse(words) {
    tones.refused();
    this.places.says.textContent = "";
    this.places.problem.textContent = words;
  }

  // Do something that is kept; what cannot be kept is said.
  async act(work) {
    if (this.busy) return;
    this.busy = true;
    try {
      await work();
    } catch (error) {
      this.refuse(error.message);
    }
    this.busy = false;
    await this.draw();
  }

  collect(bag) {
    tones.unlock();
    return this.act(async () => {
      if (bag.way !== "planned" && bag.way !== "lost") return this.refuse(`${nameOf(bag)} is ${NOW[bag.way]} already.`);
      if (!this.position.latest && this.position.state !== "off") this.say("Taking the position.");
      const { payload } = await collectBag(this.store, bag, this.position);
      this.last = bag.id;
      this.chosen = null;
      tones.change();
      const where = payload.point ? ` at a place known to ${Math.round(payload.point.accuracy_m)} m` : " without a place";
      const other = bag.round.id === this.round ? "" : `, of another round (${bag.round.block}, ${bag.round.collected_on})`;
      return this.say(`${nameOf(bag)} collected${where}${other}. Kept on this device.`);
    });
  }

  undo(bag) {
    return this.act(async () => {
      await takeBack(this.store, bag);
      if (this.last === bag.id) this.last = null;
      tones.undo();
      this.say(`${nameOf(bag)} is not collected any more.`);
    });
  }

  lose(bag) {
    return this.act(async () => {
      await loseBag(this.store, bag, "told while collecting");
      this.chosen = null;
      tones.undo();
      this.say(`${nameOf(bag)} is marked as lost.`);
    });
  }

  skip(bag) {
    this.skipped.add(bag.id);
    this.chosen = null;
    return this.draw();
  }

  choose(bag) {
    this.chosen = bag.id;
    scrollTo(0, 0);
    return this.draw();
  }

  async draw() {
    const all = await this.bags(), mine = this.ofRound(all), next = this.next(mine);
    const done = mine.filter((bag) => bag.way !== "planned" && bag.way !== "lost").length;
    const lost = mine.filter((bag) => bag.way === "lost").length;
    // A button that is replaced under a finger takes the touch with it.
    const seen = JSON.stringify([next?.id, this.last, this.skipped.size, mine.map(({ id, way, collected }) => [id, way, collected?.at])]);
    if (seen === this.seen) return;
    this.seen = seen;
    this.places.sentence.textContent = `${done} of ${mine.length - lost} collected, ${mine.length - lost - done} left${lost ? `, ${lost} lost` : ""}.`;
    this.places.next.replaceChildren(...nextCard(this, next, mine, holdButton));
    this.places.list.replaceChildren(...rowsOf(this, mine, next));
    this.drawPosition();
  }

  drawPosition() {
    const { words, state } = this.position;
    this.places.position.replaceChildren(words, ...(state === "off" ? [" ", h("button", { type: "button", class: "plain", onclick: () => this.position.start() }, "Use this device's position")] : []));
  }

  async take(typed) {
    const { bag, why } = findBag(await this.bags(), this.round, typed);
    return bag ? this.collect(bag) : this.refuse(why);
  }
}

export async function roundView(context) {
  const places = {
    sentence: h("p", { class: "sentence" }), next: h("section", { class: "collect-next", "aria-label": "Next bag" }),
    says: h("p", { class: "said", role: "status" }), problem: h("p", { class: "problem", role: "alert" }),
    position: h("p", { class: "muted" }), list: h("ol", { class: "collect-list" }),
  };
  const walk = new Walk({ ...context, places }), form = scanForm({ id: "collect-scan", label: "Scan or type a label: it is collected", words: "Collect it", take: (typed) => walk.take(typed) });
  context.root.replaceChildren(
    h("h1", {}, `Collect: ${context.title}`),
    ...(context.several ? [h("p", {}, h("a", { href: "#/collect/all" }, "Other rounds"))] : []),
    places.sentence, places.next, places.says, places.problem, form, places.position, h("h2", {}, "The walk"), places.list);
  const draw = () => walk.draw(), where = () => { walk.drawPosition(); walk.onMove?.(); };
  context.store.addEventListener("change", draw);
  context.store.addEventListener("kit", draw);
  context.position.addEventListener("change", where);
  await draw();
  return () => {
    form.dispatchEvent(new Event("bench:close"));
    context.store.removeEventListener("change", draw);
    context.store.removeEventListener("kit", draw);
  };
}
