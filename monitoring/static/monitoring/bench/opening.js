// A reading of this device with all that its pages need, or why it cannot be shown.
import { makeCourse } from "./course.js";
import { Live } from "./live.js";
import { slotsOf } from "./marks.js";
import { cellOrder } from "./sampling.js";

// Names stay known when an organism leaves the laboratory's list during a reading.
async function knownNames(store, kit) {
  const names = { ...(await store.setting("organism-names")), ...Object.fromEntries(kit.organisms.map((one) => [one.id, one.name])) };
  await store.keepSetting("organism-names", names);
  return names;
}

// A key goes on meaning what it meant when the reading began, whatever the list says since.
async function keptSlots(store, kit, id, started) {
  const kept = await store.setting(`slots:${id}`);
  if (kept) return new Map(kept);
  const slots = slotsOf(kit, started);
  await store.keepSetting(`slots:${id}`, [...slots]);
  return slots;
}

export async function openReading(store, kit, id) {
  const live = new Live(await store.eventsOf(id ?? ""));
  if (!live.started) return { why: "This device has no such reading. Choose a bag." };
  if (live.ended?.kind === "drop") return { why: "This reading was dropped. Its presses stay on record and count for nothing; begin another from the list of bags." };
  const dish = kit.dishes.find((one) => one.id === live.started.dish);
  if (!dish) return { why: "The dish of this reading is not among those that the device keeps. Bring it to a network once, then open the reading again. Nothing is lost." };
  const names = await knownNames(store, kit);
  const organisms = live.started.organisms.map((one) => ({ ...one, name: names[one.id] ?? "An organism no longer listed" }));
  const order = await cellOrder(dish.cells.map((cell) => cell.name), live.started.seed);
  const bag = kit.bags.find((one) => one.id === live.started.bag) ?? null;
  return {
    id, live, dish, bag, organisms, slots: await keptSlots(store, kit, id, live.started),
    course: makeCourse(live.started, dish, order),
  };
}
