// What has not reached the server, what it refused, and the file for another way out.
import { holdButton } from "../controls.js";
import { h } from "../elements.js";
import { age, many } from "../words.js";

const KINDS = { press: "press", start: "start of a reading", finish: "end of a reading", collect: "bag collected", wash: "wash", receive: "bag received", lose: "bag lost", photo: "photograph" };
const STATES = { open: "being counted", finished: "finished here", dropped: "dropped here" };
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
    holdButton("Save to a file and begin anew (hold)", anew),
  ];
}

function refusedPart(rows) {
  if (!rows.length) return [];
  const lines = rows.map(({ event, why }) => h("tr", {},
    h("td", {}, KINDS[event.kind] ?? event.kind), h("td", {}, `${event.sequence}`), h("td", { class: "when" }, when(event.at)), h("td", {}, why)));
  return [
    h("h2", {}, "Refused by the server"),
    h("p", {}, "These stay here for a person to look at; they count for nothing. They are in the saved file too."),
    h("div", { class: "table-wrap" }, h("table", {},
      h("thead", {}, h("tr", {}, ["What", "Number", "When", "Why"].map((head) => h("th", { scope: "col" }, head)))),
      h("tbody", {}, lines))),
  ];
}

function readingsPart(rows, kit) {
  if (!rows.length) return [];
  const bags = new Map(kit.bags.map((bag) => [bag.id, bag]));
  const lines = rows.slice(0, 50).map((row) => {
    const bag = bags.get(row.bag);
    const said = row.server ? `${row.server.state}${row.server.why ? `: ${row.server.why}` : ""}` : "not on the server yet";
    return h("tr", {},
      h("td", {}, bag ? `Bag ${bag.code}${bag.label ? ` (${bag.label})` : ""}` : "a bag not in the list any more"),
      h("td", { class: "when" }, when(row.at)), h("td", {}, STATES[row.state]), h("td", {}, said),
      h("td", {}, row.state === "open" ? h("a", { href: `#/tally/${row.id}` }, "Go on") : row.server?.url ? h("a", { href: row.server.url }, "On the site") : ""));
  });
  return [
    h("h2", {}, "Readings on this device"),
    h("div", { class: "table-wrap" }, h("table", {},
      h("thead", {}, h("tr", {}, ["Bag", "Begun", "Here", "On the server", ""].map((head) => h("th", { scope: "col" }, head)))),
      h("tbody", {}, lines))),
  ];
}

export function view({ store, status, root, health }) {
  const place = h("div");
  const file = h("input", { type: "file", accept: ".json,application/json", id: "brought", onchange: () => bring(store, status, file) });
  async function draw() {
    const [counts, refused, readings] = await Promise.all([store.counts(), store.refused(), store.readings()]);
    const span = counts.oldestAt ? age(counts.oldestAt, store.now()) : "";
    const sentence = counts.unsent
      ? `${many(counts.unsent, "event")} not sent yet${span ? `, the oldest for ${span}` : ""}.`
      : "Everything that was done on this device is on the server.";
    const photos = counts.photos ? `${many(counts.photos, "photograph")} not sent yet; a saved file does not hold photographs.` : "";
    const safety = health.persisted
      ? "The browser has promised to keep this page's storage."
      : "The browser may clear this page's storage when it is short of space, or (on some phones) when the page is not opened for a week. Installing the page helps; so does sending often.";
    place.replaceChildren(
      h("p", { class: "sentence" }, sentence), ...(photos ? [h("p", {}, photos)] : []), h("p", { class: "muted" }, safety),
      ...((await store.setting("copied")) ? copiedPart(store, status) : []),
      ...refusedPart(refused), ...readingsPart(readings, store.kit()));
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
