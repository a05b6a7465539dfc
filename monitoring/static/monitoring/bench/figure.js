// The server's figure of a finished reading, which takes the place of the page's own.
import { h } from "./elements.js";
import { LONGEST_MS } from "./kit.js";

export async function fetchFigure(reading) {
  try {
    const answer = await fetch(`readings/${reading}/figure/`, { redirect: "manual", headers: { Accept: "application/json" }, signal: AbortSignal.timeout(LONGEST_MS) });
    return answer.ok ? await answer.json() : null;
  } catch {
    return null;
  }
}

const lines = (told) => (told ?? []).map((one) => one.words ?? one).filter((words) => typeof words === "string");

// Show it in `place`; the page's own table is marked as what it was.
export function showFigure(place, figure, root) {
  if (!figure?.organisms?.length) return;
  place.dataset.shown = "yes";
  place.replaceChildren(h("h2", {}, "The site's figure"),
    h("ul", { class: "figures" }, [...lines(figure.organisms), ...lines(figure.round)].map((words) => h("li", {}, words))),
    ...lines(figure.out_of_range).map((words) => h("p", { class: "note warn" }, words)));
  root.querySelector("[data-provisional]")?.replaceChildren("The table is what this device made at the end of the count; the site's figure above stands.");
}
