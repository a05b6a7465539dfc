// The page of a finished reading: where it is, and the site's figure as soon as there is one.
import { h } from "./elements.js";
import { fetchFigure, showFigure } from "./figure.js";
import { readTable } from "./read_table.js";
import { readWords } from "./readback.js";
import { bagWords } from "./sayings.js";
import { whereItIs } from "./where.js";

// Show it; gives what ends it.
export async function showFinished({ opened, root, store, go, sayAgain, rows }) {
  const figure = h("section", { class: "figure", "aria-live": "polite" });
  const next = h("button", { type: "button", onclick: () => go("pick") }, "Next bag");
  const again = h("button", { type: "button", class: "quiet", onclick: sayAgain }, "Say it again");
  const where = h("p", { class: "where-it-is", role: "status" });
  const provisional = h("p", { class: "muted", "data-provisional": "" }, `Provisional, made on this device. ${readWords(opened)}.`);
  root.replaceChildren(h("h1", {}, "Finished"), h("p", { class: "lead" }, opened.bag ? bagWords(opened.bag) : ""), where, figure,
    readTable(rows, opened), provisional, h("div", { class: "actions" }, next, again));
  next.focus();
  const refresh = async () => {
    const { words, sent } = await whereItIs(store, await store.reading(opened.id));
    where.textContent = words;
    if (sent && !figure.dataset.shown) showFigure(figure, await fetchFigure(opened.id), root);
  };
  await refresh();
  store.addEventListener("change", refresh);
  return () => store.removeEventListener("change", refresh);
}
