// What has not reached the server, what it refused, and the file for another way out.
import { printed } from "../codes.js";
import { holdButton } from "../controls.js";
import { h } from "../elements.js";
import { photosRefused } from "../photo_list.js";
import { age, many } from "../words.js";

const KINDS = { press: "press", start: "start of a reading", finish: "end of a reading", collect: "bag collected", uncollect: "collecting taken back", wash: "wash", receive: "bag received", lose: "bag lost", photo: "photograph" };
const HERE = { open: "being counted;", finished: "finished", dropped: "dropped" };
const ON_SERVER = { open: "being counted", published: "published", waiting: "waits for a person", quarantined: "set apart", set_aside: "set aside", dropped: "dropped" };
const MOST_READINGS = 50;
const when = (at) => new Date(at).toLocaleString("en", { dateStyle: "medium", timeStyle: "short" });

async function save(store, status) {
  const blob = await store.exportAll();
  const address = URL.createObjectURL(blob);
  const day = store.now().toISOString().slice(0, 16).replace(/[T:]/g, "-");
  h("a", { href: address, download: `bench-${store.slug}-${day}.json` }).click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  status.notice("The file is saved with this browser's downloads. Take it to another device's bench, page Unsent.");
}

async function bring(store, status, input) {
  const [file] = input.files;
  if (!file) return;
  input.value = "";
  try {
    const { events, devices, own } = await store.importFile(await file.text());
    const mine = own ? " What it has of this device is here already." : "";
    status.problem("");
    status.notice(events ? `${many(events, "event")} of ${many(devices, "device")} taken from the file; they are sent from here.${mine}` : `The file holds nothing that another device did.${mine}`);
  } catch (error) {
    status.problem(error.message);
  }
}

// A copied store has no numbers left that are its own: it becomes another device.
function copiedPart(store, status) {
  const anew = async () => {
    await save(store, status);
    await store.beginAnew();
    location.reload();
  };
  return [
    h("h2", {}, "This browser's storage was copied"),
    h("p", {}, "Another browser, or an earlier state of this one, has sent events under the same numbers. What you do here is refused until this device begins anew. What was not sent is saved to a file first, for the coordinator; open readings are then counted again."),
    holdButton("Save to a file and begin anew", anew),
  ];
}

// A phone shows each row as a list, by the column heads.
function table(heads, rows) {
  return h("div", { class: "table-wrap" }, h("table", { class: "stack labelled" },
    h("thead", {}, h("tr", {}, heads.map((head) => h("th", { scope: "col" }, head)))),
    h("tbody", {}, rows.map((cells) => h("tr", {}, cells.map((cell, i) => h("td", { "data-label": heads[i] }, cell)))))));
}

function refusedPart(rows, store, status) {
  if (!rows.length) return [];
  const clear = async () => {
    await save(store, status);
    await store.forgetRefused();
  };
  return [
    h("h2", {}, "Refused by the server"),
    h("p", {}, "These count for nothing; a person should know why, and do again what is needed. They are in the saved file too."),
    table(["What", "Number", "When", "Why"], rows.map(({ event, why }) => [KINDS[event.kind] ?? event.kind, `${event.sequence}`, when(event.at), why])),
    holdButton("Seen: save to a file and clear this list", clear),
  ];
}

function onTheServer({ server }) {
  if (!server) return ["not on the server yet"];
  const words = `${ON_SERVER[server.state] ?? server.state}${server.why ? `: ${server.why}` : ""}`;
  return server.url ? [words, " ", h("a", { href: server.url }, "See it on the site")] : [words];
}

function readingsPart(rows, kit) {
  if (!rows.length) return [];
  const bags = new Map(kit.bags.map((bag) => [bag.id, bag]));
  return [
    h("h2", {}, "Readings on this device"),
    table(["Bag", "Begun", "Here", "On the server"], rows.slice(0, MOST_READINGS).map((row) => {
      const bag = bags.get(row.bag);
      const words = bag ? `Bag ${bag.code}${bag.label ? `, ${printed(bag.label)}` : ""}` : "a bag not in the list any more";
      const here = row.state === "open" ? [`${HERE.open} `, h("a", { href: `#/tally/${row.id}` }, "Go on")] : [HERE[row.state]];
      return [words, when(row.at), h("span", {}, here), h("span", {}, onTheServer(row))];
    })),
  ];
}

export function view({ store, status, root, health }) {
  const place = h("div");
  const file = h("input", { type: "file", accept: ".json,application/json", id: "brought", onchange: () => bring(store, status, file) });
  async function draw() {
    const [counts, refused, readings, pictures] = await Promise.all([store.counts(), store.refused(), store.readings(), store.photos()]);
    const span = counts.oldestAt ? age(counts.oldestAt, store.now()) : "";
    const sentence = counts.unsent
      ? `${many(counts.unsent, "event")} not sent yet${span ? `, the oldest for ${span}` : ""}.`
      : `Everything that was done on this device is on the server${counts.refused ? `, but for what it refused (${counts.refused})` : ""}.`;
    const photos = counts.photos ? `${many(counts.photos, "photograph")} not sent yet; a saved file does not hold photographs.` : "";
    const safety = health.persisted
      ? "The browser has promised to keep this page's storage."
      : "The browser may clear this page's storage when it is short of space, or (on some phones) when the page is not opened for a week. Installing the page helps (the Install button above, or “Add to home screen” in the browser's menu); so does sending often.";
    place.replaceChildren(
      h("p", { class: "sentence" }, sentence), ...(photos ? [h("p", {}, photos)] : []), h("p", { class: "muted" }, safety),
      ...((await store.setting("copied")) ? copiedPart(store, status) : []),
      ...refusedPart(refused, store, status), ...photosRefused(store, pictures), ...readingsPart(readings, store.kit()));
  }
  root.append(
    h("h1", {}, "Unsent"),
    place,
    h("div", { class: "actions" },
      h("button", { type: "button", onclick: () => window.bench?.sender.now() }, "Send now"),
      h("button", { type: "button", class: "quiet", onclick: () => save(store, status) }, "Save to a file")),
    h("h2", {}, "Bring another device's file"),
    h("div", { class: "field" }, h("label", { for: "brought" }, "File saved by another device's bench"), file,
      h("p", { class: "hint" }, "What it did is sent from here in its own name and order; what the server has already stays as it is.")),
    h("p", {}, h("a", { href: "#/device" }, `This device is called “${store.device.name}”`), ". ", h("a", { href: "#/keys" }, "Keys and sounds")),
  );
  store.addEventListener("change", draw);
  draw();
  return () => store.removeEventListener("change", draw);
}
