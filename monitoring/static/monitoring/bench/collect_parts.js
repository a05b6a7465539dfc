// What is seen of a walk: the next bag in large, and the list.
import { nameOf } from "./collecting.js";
import { h } from "./elements.js";
import { awayWords, bearing, distanceM, metres, wind } from "./ground.js";
import { photoButton } from "./photo.js";

const SVG = "http://www.w3.org/2000/svg";
// Nearer by so much, a bag is offered although the walk comes to it later.
const NEARER = 0.5;
const about = (bag) => [bag.position, bag.tissue, bag.units > 1 ? `${bag.units} of them` : ""].filter(Boolean).join(" ");

// An arrow from here to the bag, north up.
function arrow(degrees) {
  const svg = document.createElementNS(SVG, "svg"), path = document.createElementNS(SVG, "path");
  svg.setAttribute("viewBox", "-12 -12 24 24");
  svg.setAttribute("class", "collect-arrow");
  svg.setAttribute("aria-hidden", "true");
  path.setAttribute("d", "M0 -11L7 9L0 5L-7 9z");
  path.setAttribute("transform", `rotate(${Math.round(degrees)})`);
  svg.append(path);
  return svg;
}

function wayThere(walk, bag) {
  const here = walk.position.latest;
  if (!bag.point) return [h("p", { class: "collect-away" }, "No place is planned for this bag.")];
  if (!here) return [];
  const from = [here.lon, here.lat];
  return [h("p", { class: "collect-away" }, arrow(bearing(from, bag.point)), h("span", {}, awayWords(from, here.accuracy_m, bag.point)), h("span", { class: "muted small" }, "north is up"))];
}

function nearer(walk, next, mine) {
  const here = walk.position.latest;
  if (!here || !next.point) return [];
  const from = [here.lon, here.lat], away = (bag) => distanceM(from, bag.point);
  const others = mine.filter((bag) => bag.way === "planned" && bag.point && bag.id !== next.id);
  const [best] = others.sort((one, other) => away(one) - away(other));
  if (!best || away(best) > away(next) * NEARER) return [];
  return [h("button", { type: "button", class: "quiet", onclick: () => walk.choose(best) }, `Nearer: ${nameOf(best)}, ${metres(away(best))} ${wind(bearing(from, best.point))}`)];
}

function lastPart(walk, mine) {
  const bag = mine.find((one) => one.id === walk.last);
  if (!bag || bag.way !== "collected") return [];
  return [h("div", { class: "actions collect-last" }, h("span", {}, `Last: ${nameOf(bag)}`),
    h("button", { type: "button", class: "quiet", onclick: () => walk.undo(bag) }, `Undo ${nameOf(bag)}`),
    photoButton({ store: walk.store, bag: bag.id, words: `Photograph ${nameOf(bag)}` }))];
}

export function nextCard(walk, next, mine, holdButton) {
  if (!next) return [h("p", { class: "collect-code" }, "All collected"), ...lastPart(walk, mine)];
  const way = h("div", { class: "collect-way" }), beside = h("div", { class: "actions" });
  // Redrawn as the person walks; the buttons under the finger stay where they are.
  walk.onMove = () => way.replaceChildren(...wayThere(walk, next), ...nearer(walk, next, mine));
  walk.onMove();
  beside.append(
    h("button", { type: "button", class: "quiet", onclick: () => walk.skip(next) }, "Later"),
    holdButton("Lost", () => walk.lose(next)));
  return [
    h("h2", { class: "unseen" }, "Next bag"),
    h("p", { class: "collect-code" }, nameOf(next)),
    h("p", { class: "collect-about" }, `Bag ${next.code}${next.walk_order ? `, place ${next.walk_order} of the walk` : ""}: ${about(next)}`),
    way,
    h("button", { type: "button", class: "collect-now", onclick: () => walk.collect(next) }, "Collected"),
    beside, ...lastPart(walk, mine),
  ];
}

function told(bag) {
  if (!bag.collected) return bag.way === "planned" ? "to collect" : bag.way;
  const at = new Date(bag.collected.at).toLocaleTimeString("en", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const place = bag.collected.hasPlace ? `±${Math.round(bag.collected.accuracy ?? 0)} m` : "no place";
  return `collected ${at}, ${place}`;
}

const rowButton = (words, bag, act) =>
  h("button", { type: "button", class: "quiet", onclick: act }, words, h("span", { class: "unseen" }, ` ${nameOf(bag)}`));

export function rowsOf(walk, mine, next) {
  return mine.map((bag) => h("li", { class: `collect-row ${bag.way}`, "aria-current": bag.id === next?.id ? "step" : null },
    h("strong", {}, nameOf(bag)), h("span", {}, `bag ${bag.code}, ${about(bag)}`), h("span", { class: "muted" }, told(bag)),
    h("span", { class: "collect-acts" },
      bag.way === "planned" && bag.id !== next?.id ? rowButton("Go to", bag, () => walk.choose(bag)) : null,
      bag.way === "collected" ? rowButton("Undo", bag, () => walk.undo(bag)) : null,
      bag.way === "lost" ? rowButton("Found and collected", bag, () => walk.collect(bag)) : null)));
}
