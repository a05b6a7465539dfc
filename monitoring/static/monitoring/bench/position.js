// Where the phone is: asked for once a person wants it, and never needed.

const FRESH_MS = 60_000, WAIT_MS = 4000;
const WATCH = { enableHighAccuracy: true, maximumAge: 5000, timeout: 30_000 };
const WORDS = {
  off: "No position is used.",
  asking: "Looking for the position.",
  denied: "The browser gives no position: it was refused, or the page is not open over https. Collecting goes on without; allow it for this site in the browser's settings.",
  lost: "No position just now; it is looked for. Collecting goes on without.",
  missing: "This device knows no position. Collecting goes on without.",
};

export class Position extends EventTarget {
  #watch = null;
  #fix = null;

  constructor({ geolocation = navigator.geolocation, clock = () => Date.now() } = {}) {
    super();
    Object.assign(this, { geolocation, clock });
    this.state = geolocation ? "off" : "missing";
  }

  // Begin at once where the person allowed it before.
  async startIfAllowed() {
    const asked = await navigator.permissions?.query({ name: "geolocation" }).catch(() => null);
    if (asked?.state === "granted") this.start();
  }

  start() {
    if (!this.geolocation || this.#watch !== null) return;
    this.#set("asking");
    this.#watch = this.geolocation.watchPosition((found) => this.#take(found), (error) => this.#miss(error), WATCH);
  }

  stop() {
    if (this.#watch !== null) this.geolocation.clearWatch(this.#watch);
    this.#watch = null;
  }

  #set(state) {
    this.state = state;
    this.dispatchEvent(new Event("change"));
  }

  #take({ coords, timestamp }) {
    this.#fix = { lon: coords.longitude, lat: coords.latitude, accuracy_m: Math.round(coords.accuracy * 10) / 10, at: Math.min(timestamp, this.clock()) };
    this.#set("known");
  }

  #miss({ code }) {
    if (code === 1) this.stop();
    this.#set(code === 1 ? "denied" : "lost");
  }

  // {lon, lat, accuracy_m} no older than a minute, or null.
  get latest() {
    if (!this.#fix || this.clock() - this.#fix.at > FRESH_MS) return null;
    const { lon, lat, accuracy_m } = this.#fix;
    return { lon, lat, accuracy_m };
  }

  // The latest, or one that comes within some seconds, or null.
  async get() {
    if (this.latest || this.#watch === null) return this.latest;
    await new Promise((resolve) => {
      this.geolocation.getCurrentPosition((found) => { this.#take(found); resolve(); }, resolve, { ...WATCH, timeout: WAIT_MS });
      setTimeout(resolve, WAIT_MS);
    });
    return this.latest;
  }

  get words() {
    if (this.state === "known" && this.latest) return `Position known to ${Math.round(this.latest.accuracy_m)} m.`;
    return WORDS[this.state === "known" ? "lost" : this.state];
  }
}
