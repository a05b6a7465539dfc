// The line that is always in sight: kept here, sent, waiting or a problem, in words.
import { h } from "./elements.js";
import { age, many } from "./words.js";

const REFRESH_MS = 20_000;
const SETTLE_MS = 250;
const LONG_MS = 12 * 3600e3;
const NAG_UNSENT = 2000;

export class Status {
  #timer = 0;
  #problem = "";
  #sending = ""; // what keeps events from being sent, in words
  #signIn = "";

  constructor({ store, bar, notes, clock = () => Date.now() }) {
    Object.assign(this, { store, clock });
    this.words = bar.querySelector("[data-words]");
    this.who = bar.querySelector("[data-who]");
    this.live = notes.querySelector("[data-live]");
    this.alert = notes.querySelector("[data-alert]");
    this.locked = notes.querySelector("[data-locked]");
    this.seen = notes.querySelector("[data-seen]");
    addEventListener("hashchange", () => this.notice(""));
    this.server = notes.querySelector("[data-told]");
    this.nag = notes.querySelector("[data-nag]");
    for (const kind of ["change", "kit"]) store.addEventListener(kind, () => this.soon());
    store.addEventListener("closed", ({ detail }) => this.problem(detail));
    setInterval(() => this.refresh(), REFRESH_MS);
  }

  // Say something that needs no act, to who listens to the page.
  say(words) { this.live.textContent = words; }

  // The same for all to see, until the next view.
  notice(words) { this.#show(this.seen, words); }

  // Say what went wrong; stays until `problem("")`.
  problem(words) {
    this.#problem = words;
    this.#show(this.alert, words);
    this.soon();
  }

  // Say what the server wants a person to know.
  told(words) { this.#show(this.server, words); }

  // Say that the bag shown is another tab's.
  readOnly(words) { this.#show(this.locked, words); }

  // Say why nothing is sent just now; `signIn` is where to go for it.
  sending(words, signIn = "") {
    this.#sending = words;
    this.#signIn = signIn;
    this.soon();
  }

  #show(place, ...content) {
    place.hidden = !content[0];
    place.replaceChildren(h("p", {}, ...content));
  }

  // Presses come fast: the line follows a few times a second.
  soon() {
    this.#timer ||= setTimeout(() => {
      this.#timer = 0;
      this.refresh();
    }, SETTLE_MS);
  }

  async refresh() {
    const counts = await this.store.counts().catch(() => null);
    if (!counts) return;
    const { unsent, oldestAt, refused, photos } = counts;
    const span = oldestAt ? age(oldestAt, this.clock()) : "";
    const parts = [];
    if (this.#problem) parts.push("Problem: see below");
    if (unsent) {
      const since = span ? `the oldest for ${span}` : "since when is not known: this device's clock was set back";
      parts.push(`Saved here, ${many(unsent, "event")} unsent, ${since}`);
    } else if (!photos) {
      parts.push("Saved here and sent: nothing waits");
    }
    if (photos) parts.push(`${many(photos, "photograph")} unsent`);
    if (refused) parts.push(`${refused} refused by the server`);
    if (unsent || photos) parts.push(this.#sending);
    this.words.textContent = `${parts.filter(Boolean).join(". ")}.`;
    this.words.dataset.tone = this.#problem || refused ? "problem" : unsent || photos ? "waiting" : "sent";
    const person = this.store.kit()?.person.name;
    this.who.textContent = person ? `${person}, ${this.store.device.name || "device without a name"}` : "nobody known yet";
    this.#remind(unsent, oldestAt, span);
  }

  // Say who must sign in, and nag when much has waited for long.
  #remind(unsent, oldestAt, span) {
    const waited = oldestAt ? this.clock() - new Date(oldestAt) : 0;
    if (this.#signIn) {
      this.#show(this.nag, h("a", { href: this.#signIn }, "Sign in to send"),
        unsent ? `; ${many(unsent, "event")} ${unsent === 1 ? "is" : "are"} kept here.` : "; what you count is kept here.");
    } else if (unsent && (waited > LONG_MS || unsent > NAG_UNSENT)) {
      this.#show(this.nag, `${many(unsent, "event")} have not left this device${span ? ` for ${span}` : ""}. Bring it to a network, or `,
        h("a", { href: "#/unsent" }, "save them to a file"), ". A browser may clear what a page keeps when it is not opened for a week.");
    } else {
      this.nag.hidden = true;
    }
  }
}
