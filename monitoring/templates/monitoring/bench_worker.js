{% autoescape off %}const TOLD = {{ told }};{% endautoescape %}
// The bench's page and its files, kept for days without a network, one kept copy for
// each version. What is counted is not its business: that lies in the page's own store.
const PREFIX = `bench-${TOLD.slug}-`;
const MINE = `${PREFIX}${TOLD.version}`;
// Names the version that is shown, which may be an older one while a reading is open.
const POINTER = `${PREFIX}shown`;
const MARK = `${TOLD.shell}shown`;

async function shown() {
  const mark = await (await caches.open(POINTER)).match(MARK);
  const name = mark ? await mark.text() : "";
  return name && (await caches.has(name)) ? name : MINE;
}

async function show(name) {
  await (await caches.open(POINTER)).put(MARK, new Response(name));
}

// Only this farm group's copies; another group's bench has a worker of its own.
async function removeOthers() {
  const names = await caches.keys();
  const old = names.filter((name) => name.startsWith(PREFIX) && name !== MINE && name !== POINTER && /^[0-9a-f]+$/.test(name.slice(PREFIX.length)));
  await Promise.all(old.map((name) => caches.delete(name)));
}

// Whether a reading is open on this device, as the page's store says.
function countingNow() {
  return new Promise((resolve) => {
    const opening = indexedDB.open(`bench-${TOLD.slug}`);
    opening.onupgradeneeded = () => opening.transaction.abort(); // the page makes it
    opening.onerror = () => resolve(false);
    opening.onsuccess = () => {
      const database = opening.result;
      const asking = database.transaction("readings").objectStore("readings").getAll();
      asking.onerror = () => { database.close(); resolve(true); };
      asking.onsuccess = () => {
        database.close();
        resolve(asking.result.some((reading) => reading.state === "open"));
      };
    };
  });
}

async function keep() {
  const copy = await caches.open(MINE);
  const page = await fetch(TOLD.shell, { cache: "no-store", credentials: "same-origin" });
  // Without a signed-in person the site answers with its sign-in page.
  if (!page.ok || page.redirected) throw new Error("the page could not be fetched");
  await Promise.all([TOLD.manifest, ...TOLD.files].map(async (address) => {
    const answer = await fetch(address, { cache: "no-cache" });
    if (!answer.ok) throw new Error(`${address} could not be fetched`);
    await copy.put(address, answer);
  }));
  await copy.put(TOLD.shell, page);
}

async function takeOver() {
  await show(MINE);
  await removeOthers();
}

self.addEventListener("install", (event) => event.waitUntil(keep()));

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    const before = await shown();
    if (before === MINE || !(await countingNow())) await takeOver();
    await self.clients.claim();
  })());
});

self.addEventListener("message", (event) => {
  if (event.data === "take over") {
    // Answered when it is done, so that the page is not loaded before it.
    event.waitUntil(takeOver().then(() => {
      event.ports[0]?.postMessage(true);
      return self.skipWaiting();
    }));
  } else if (event.data === "held") {
    // Whether an older version is shown though a newer one is here.
    event.waitUntil(shown().then((name) => event.ports[0].postMessage(name !== MINE)));
  }
});

async function answer(request, address) {
  const copy = await caches.open(await shown());
  const kept = await copy.match(address);
  return kept ?? fetch(request);
}

// The page itself and its files come from the kept copy; the kit, events, photographs and
// every other page of the site go to the network and are kept nowhere.
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET") return;
  const { origin, pathname } = new URL(request.url);
  if (origin !== location.origin) return;
  if (pathname === TOLD.shell && request.mode === "navigate") event.respondWith(answer(request, TOLD.shell));
  else if (pathname === TOLD.manifest || pathname.startsWith(TOLD.static)) event.respondWith(answer(request, pathname));
});
