// Whether a finished reading is on the server, in words that leave no doubt.
import { many } from "./words.js";

const STATES = {
  open: "On the server, which waits for the rest of it.",
  published: "On the server, and published.",
  waiting: "On the server; a person must decide about it before it counts.",
  quarantined: "On the server, but set apart; the laboratory looks at it.",
  set_aside: "On the server, and set aside.",
  dropped: "On the server; dropped.",
};

export async function whereItIs(store, row) {
  const { unsent } = await store.counts(), server = row?.server;
  if (server && server.state !== "open") return { words: `${STATES[server.state] ?? "On the server."} ${server.why ?? ""}`.trim(), sent: true };
  if (unsent) return { words: `Finished and saved on this device; NOT on the server yet. What waits (${many(unsent, "event")}) is sent as soon as there is a network.`, sent: false };
  if (server) return { words: `${STATES.open} ${server.why ?? ""}`.trim(), sent: true };
  return { words: "Finished, saved on this device and sent. The server has not said yet what became of it.", sent: false };
}
