// Send photographs that wait, one after the other, when the acts that tell of them are
// on the server; the server knows them by their keys.
import { AWAY, FINE, refreshKit, trouble } from "./kit.js";

// A picture takes its time over a thin network; one that is half open answers never, and
// the events of all tabs wait behind it.
const LONGEST_MS = 5 * 60_000;
// What the server will never take: kept here with its reason, for a person.
const REFUSALS = new Set([409, 413, 422]);
const NOT_TOLD = "urn:washboard:problem:photo-not-told";

function put({ store, urls }, { id, blob }) {
  return fetch(`${urls.photos}${id}/`, {
    method: "PUT",
    redirect: "manual",
    signal: AbortSignal.timeout(LONGEST_MS),
    headers: { "Content-Type": blob.type || "image/jpeg", "X-CSRFToken": store.kit()?.csrf_token ?? "" },
    body: blob,
  });
}

// The page died between keeping the picture and telling of it.
async function tellOf(store, { id, bag, sha256, size_bytes: size }) {
  await store.append([{ kind: "photo", payload: { photo: id, bag, sha256, size_bytes: size } }]);
  await store.changePhoto(id, { told: true });
}

async function sendOne(context, photo) {
  const { store, status, urls } = context;
  let response = await put(context, photo);
  if (response.status === 403) {
    // A new sign-in makes the token that the kit brought an old one.
    const outcome = await refreshKit(context);
    if (outcome !== FINE) return outcome;
    response = await put(context, photo);
  }
  if (response.ok) {
    // The picture is on the server; the device keeps that it was taken.
    await store.changePhoto(photo.id, { waiting: undefined, blob: null, refused: "" });
    return FINE;
  }
  if (!REFUSALS.has(response.status)) return trouble(response, status, urls.login);
  const { type, detail } = await response.json().catch(() => ({}));
  if (type === NOT_TOLD) return FINE; // its act is on its way, or waits for earlier ones
  await store.changePhoto(photo.id, { waiting: undefined, refused: detail || `The server answered ${response.status}.` });
  status.problem(`A photograph was not taken by the server: ${detail ?? ""} It is kept on this device, on the page Unsent.`);
  return FINE;
}

export async function sendPhotos(context) {
  const { store, status } = context;
  for (const photo of await store.waitingPhotos()) {
    if (!photo.told) {
      await tellOf(store, photo);
      continue; // the next round sends the act, then the picture
    }
    try {
      const outcome = await sendOne(context, photo);
      if (outcome !== FINE) return outcome;
    } catch (error) {
      console.warn("a photograph was not sent", error);
      status.sending("No answer from the server; it is tried again");
      return AWAY;
    }
  }
  return FINE;
}
