// The kit's bags as they are now: what was done here since it came is folded over them.
const BEFORE_WASHED = new Set(["planned", "collected", "received"]);

const TAKE = {
  collect(bag, { payload, at }) {
    if (bag.way !== "planned" && bag.way !== "lost") return;
    bag.way = "collected";
    bag.collected = { at, accuracy: payload.point?.accuracy_m ?? null, hasPlace: Boolean(payload.point) };
  },
  uncollect(bag) {
    if (bag.way !== "collected") return;
    bag.way = "planned";
    bag.collected = null;
  },
  receive(bag) { if (["planned", "collected", "lost"].includes(bag.way)) bag.way = "received"; },
  lose(bag) { if (bag.way !== "counted") bag.way = "lost"; },
  wash(bag, { payload }) {
    if (!bag.washes.includes(payload.number)) bag.washes.push(payload.number);
    if (BEFORE_WASHED.has(bag.way)) bag.way = "washed";
  },
  photo() {},
};

// Give the bags by their keys; what the server refused is left out.
export async function bagsNow(store, kit) {
  const bags = new Map(kit.bags.map((bag) => [bag.id, { ...bag, washes: [...(bag.washes ?? [])], collected: null }]));
  for (const act of await store.acts()) {
    if (act.sequence <= (kit.sent_to ?? 0) || act.refused) continue;
    for (const id of act.payload.bags ?? [act.payload.bag]) {
      if (bags.has(id)) TAKE[act.kind]?.(bags.get(id), act);
    }
  }
  return bags;
}

// In the order in which they are walked, those without a place last, by their number.
export function walked(bags) {
  const order = (bag) => bag.walk_order ?? Infinity;
  return [...bags].sort((one, other) =>
    (order(one) === order(other) ? one.code.localeCompare(other.code, "en", { numeric: true }) : order(one) - order(other)));
}

// The rounds of bags, those of the soonest date first.
export function roundsOf(bags) {
  const rounds = new Map();
  for (const bag of bags) {
    if (!rounds.has(bag.round.id)) rounds.set(bag.round.id, { ...bag.round, bags: [] });
    rounds.get(bag.round.id).bags.push(bag);
  }
  return [...rounds.values()].sort((one, other) =>
    one.collected_on.localeCompare(other.collected_on) || one.block.localeCompare(other.block));
}
