// One batch of events to the server.
import { FINE, LONGEST_MS, refreshKit, trouble } from "./kit.js";

function bodyOf(store, { unsent, oldestAt }, device, events) {
  return JSON.stringify({
    schema: 1,
    device: { id: device.id, name: device.name },
    sent_at: store.now().toISOString(),
    unsent,
    oldest_unsent_at: oldestAt,
    // That one was refused is noted here only.
    events: events.map(({ refused, ...event }) => event),
  });
}

// Give the server's answer, or the word for why there is none.
export async function postEvents(sender, device, events, { again = true } = {}) {
  const { store, status, urls } = sender;
  const response = await fetch(urls.events, {
    method: "POST",
    redirect: "manual",
    signal: AbortSignal.timeout(LONGEST_MS),
    headers: { "Content-Type": "application/json", "X-CSRFToken": store.kit()?.csrf_token ?? "" },
    body: bodyOf(store, await store.counts(), device, events),
  });
  // A new sign-in makes the token that the kit brought an old one.
  if (response.status === 403 && again) {
    const outcome = await refreshKit(sender);
    return outcome === FINE ? postEvents(sender, device, events, { again: false }) : outcome;
  }
  const found = await trouble(response, status, urls.login);
  if (found) return found;
  status.sending("");
  const answer = await response.json();
  if (answer.results.length !== events.length || answer.results.some(({ id }, i) => id && id !== events[i].id)) {
    throw new Error("the server answered of other events");
  }
  status.told((answer.words ?? []).join(" "));
  // The browser's store was copied or went back: its next numbers are taken already.
  if (answer.results.some(({ copied }) => copied)) await store.keepSetting("copied", true);
  return answer;
}
