// Photographs that the server did not take: why, and another try.
import { h } from "./elements.js";

const when = (at) => new Date(at).toLocaleString("en", { dateStyle: "medium", timeStyle: "short", hourCycle: "h23" });

function row(store, bags, photo) {
  const bag = bags.get(photo.bag);
  const again = () => store.changePhoto(photo.id, { waiting: 1, refused: "" });
  return h("li", {},
    h("p", {}, h("strong", {}, bag ? `Bag ${bag.code}` : "A bag not in the list any more"), `, ${when(photo.at)}: ${photo.refused}`),
    h("button", { type: "button", class: "quiet", onclick: again }, "Send again"));
}

export function photosRefused(store, photos) {
  const refused = photos.filter((photo) => photo.refused);
  if (!refused.length) return [];
  const bags = new Map(store.kit().bags.map((bag) => [bag.id, bag]));
  return [
    h("h2", {}, "Photographs that the server did not take"),
    h("p", {}, "They stay on this device. The saved file does not hold them."),
    h("ul", { class: "photos-refused" }, refused.map((photo) => row(store, bags, photo))),
  ];
}
