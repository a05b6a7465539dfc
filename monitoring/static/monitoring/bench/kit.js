// Fetch what the device keeps of the site, and tell why when it cannot be had.

export const SIGN_IN = "sign in", REFUSED = "refused", AWAY = "away", FINE = "fine";
// A network that is half open answers never; what takes longer is tried again.
export const LONGEST_MS = 60_000;

const WORDS = {
  403: "Your role in this farm group does not count: nothing is sent. What is here stays; save it to a file or ask the coordinator.",
  404: "You are not in this farm group any more: nothing is sent. What is here stays; save it to a file and ask the coordinator.",
};

// Say what an answer other than success means; `null` for one that is fine.
export async function trouble(response, status, login) {
  if (response.ok) return null;
  if (response.type === "opaqueredirect" || response.status === 401) {
    status.sending("Nobody is signed in", login);
    return SIGN_IN;
  }
  if (WORDS[response.status]) {
    status.sending(WORDS[response.status]);
    return REFUSED;
  }
  const { detail } = await response.json().catch(() => ({}));
  status.sending(`The server answered ${response.status}${detail ? ` (${detail.replace(/\.$/, "")})` : ""}; sending is tried again`);
  return AWAY;
}

export async function refreshKit({ store, status, urls }) {
  let response, kit;
  try {
    response = await fetch(urls.kit, {
      redirect: "manual",
      headers: { Accept: "application/json" },
      signal: AbortSignal.timeout(LONGEST_MS),
    });
  } catch {
    status.sending("No network; sending is tried again");
    return AWAY;
  }
  const found = await trouble(response, status, urls.login);
  if (found) return found;
  try {
    kit = await response.json();
  } catch {
    // Cut off on the way, or the page of a network that wants a sign-in of its own.
    status.sending("What came was not the site's answer; it is tried again");
    return AWAY;
  }
  const before = store.kit()?.person;
  await store.keepKit(kit);
  status.sending("");
  if (before && before.id !== kit.person.id) {
    status.notice(`${kit.person.name} is signed in now. What ${before.name} did stays in ${before.name}'s name.`);
  }
  return FINE;
}
