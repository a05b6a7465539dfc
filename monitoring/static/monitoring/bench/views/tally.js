// Count a dish at the microscope: by key or touch, without looking at the screen.
import { fillCall } from "../call_panel.js";
import { Desk } from "../desk.js";
import { h } from "../elements.js";
import { listen } from "../keyboard.js";
import { extrasButton } from "../extras.js";
import { openReading } from "../opening.js";
import { loadPrefs } from "../prefs.js";
import { bagWords, placeWords } from "../sayings.js";
import { tones } from "../sound.js";
import { buildPage, fillPage, showWords } from "../tally_page.js";
import { makeTouch, stayAwake } from "../touch.js";

function elsewhere(root, words) {
  root.replaceChildren(h("h1", {}, "Tally"), h("p", { class: "note warn" }, words), h("p", {}, h("a", { class: "button", href: "#/pick" }, "Choose a bag")));
}

function titleOf({ bag, dish, live }) {
  const { wash_number: wash, dish_number: number } = live.started;
  const parts = [bag ? bagWords(bag) : "A bag not kept here", dish.name];
  // The first of each goes without saying.
  if (wash > 1) parts.push(`wash ${wash}`);
  if (number > 1) parts.push(`dish number ${number}`);
  return parts.join(", ");
}

// Draw at most once a frame, however fast the keys come.
function painter(paint) {
  let asked = 0;
  return () => {
    asked ||= requestAnimationFrame(() => {
      asked = 0;
      paint();
    });
  };
}

export async function view({ store, kit, status, go, root, param, readOnly }) {
  const prefs = await loadPrefs(store, kit);
  const opened = await openReading(store, kit, param);
  if (opened.why) return elsewhere(root, opened.why);
  if (opened.live.ended) return go(`finish/${param}`);
  const { live, course, organisms, slots } = opened;
  const desk = new Desk({ store, reading: param, organisms, live, course, slots, tones });
  const act = (action, detail) => desk.act(action, detail);
  const refuse = (words) => desk.refuse(words);
  const listener = listen({ prefs, act, refuse, wake: () => tones.unlock() });
  const touch = makeTouch({ act: (action) => { tones.unlock(); act(action); }, refuse });
  const page = buildPage({
    root, desk, opened, listener, prefs, onTouch: touch, title: titleOf(opened),
    extras: extrasButton({ store, kit, desk, opened, act, go, readOnly }),
  });
  const paint = () => {
    if (desk.ended) return go(live.ended.kind === "drop" ? "pick" : `finish/${param}`);
    fillPage(page);
    return fillCall(page);
  };
  const soon = painter(paint);
  desk.addEventListener("change", soon);
  desk.addEventListener("words", ({ detail }) => showWords(page, detail));
  desk.addEventListener("finish", () => go(`finish/${param}`));
  // For whoever looks into the page with the browser's own tools, and for tests.
  page.body.desk = desk;
  const release = stayAwake();
  document.documentElement.dataset.tally = "yes";
  paint();
  const { place } = desk.here, begun = live.acts.length ? "On with" : "Begin with";
  if (place) showWords(page, { words: `${begun} ${placeWords(desk.here)}.` });
  status.say("");
  return () => {
    listener.stop();
    release();
    desk.removeEventListener("change", soon);
    delete document.documentElement.dataset.tally;
  };
}
