// A file of what was not sent, or was refused: a way out when this device stays without
// a network, and the way into another device's bench, which sends it on.

const FORMAT = "bench events";
const NOT_OURS = "This is not a file that a bench saved. Choose the .json file that you saved on the unsent page.";

// Give a Blob of all unsent and refused events, own and brought.
export async function savedFile(db, { device, slug, now }) {
  const [settings, events, carried, refused, again] = await Promise.all([
    db.get("settings", "sentTo"),
    db.getAll("events"),
    db.getAll("carried"),
    db.getAll("refused"),
    db.getAllKeys("again"),
  ]);
  const until = settings ?? 0;
  const repeated = new Set(again);
  const own = events.filter(({ sequence }) => sequence > until || repeated.has(sequence));
  const devices = new Map([[device.id, { device, events: own }]]);
  for (const row of carried) {
    if (!devices.has(row.device.id)) devices.set(row.device.id, { device: row.device, events: [] });
    devices.get(row.device.id).events.push(row.event);
  }
  const content = {
    format: FORMAT,
    schema: 1,
    group: slug,
    saved_at: now().toISOString(),
    devices: [...devices.values()],
    refused: refused.map(({ event, why, device: other }) => ({ device: other ?? device, event, why })),
  };
  return new Blob([JSON.stringify(content, null, 1)], { type: "application/json" });
}

function parsed(text) {
  let content;
  try {
    content = JSON.parse(text);
  } catch {
    throw new Error(NOT_OURS);
  }
  if (content?.format !== FORMAT || !Array.isArray(content.devices)) throw new Error(NOT_OURS);
  if (content.schema !== 1) {
    throw new Error("This file was saved by a newer version of this page. Reload the page while there is a network, then choose the file again.");
  }
  return content;
}

const KEY = /^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$/i;

function usable({ device, events }) {
  return KEY.test(device?.id) && Array.isArray(events)
    && events.every((one) => typeof one?.id === "string" && Number.isSafeInteger(one.sequence) && one.sequence > 0);
}

// Take another device's events over, to be sent from here under that device's numbers.
// Gives {events, devices}; nothing is taken from a file that is wrong anywhere.
export async function readFile(db, { device, slug }, text) {
  const content = parsed(text);
  if (content.group !== slug) throw new Error(`This file is of another farm group (${content.group}). Open that group's bench.`);
  if (!content.devices.every(usable)) throw new Error("This file was changed since it was saved: an event has no number or key. Nothing was taken from it.");
  const others = content.devices.filter((one) => one.device.id !== device.id && one.events.length);
  const tables = db.transaction("carried", "readwrite");
  let brought = 0;
  for (const other of others) {
    for (const event of other.events) {
      tables.store.put({ device: other.device, event });
      brought += 1;
    }
  }
  await tables.done;
  return { events: brought, devices: others.length, own: content.devices.some((one) => one.device.id === device.id && one.events.length) };
}
