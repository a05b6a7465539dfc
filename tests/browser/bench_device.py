"""A browser that serves as a device of the bench, driven as its person would."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

from blocks.tenancy import stating
from monitoring.models import Bag, BenchEvent
from tests.builders import World
from tests.monitoring.bags.bench import Bench

PASSWORD = "a long enough password"
WAIT_MS = 60_000
# Browsers write on the console that a request failed, as it should here.
EXPECTED = ("Failed to load resource", "GPU stall", "sending failed", "worker")

START = """async ({ bag, scope, organisms }) => {
  const { store } = window.bench;
  const kit = store.kit();
  const reading = crypto.randomUUID();
  const ids = kit.organisms.slice(0, organisms).map(({ id }) => ({ id, scope }));
  await store.append([{ kind: "start", reading, payload: {
    bag, wash_number: 1, dish: kit.dishes[0].id, dish_number: 1, organisms: ids,
    organism_set: kit.organism_set, seed: 7, wanted_cv: 0.15, pilot: 10,
    magnification: 40, recount: false, blind: true, page_version: kit.page_version,
  } }]);
  return reading;
}"""
PRESS = """async ({ reading, times }) => {
  const { store } = window.bench;
  const [{ payload }] = await store.eventsOf(reading);
  const press = { kind: "press", reading,
    payload: { organism: payload.organisms[0].id, place: "row 1" } };
  await store.append(Array(times).fill(press));
}"""
# When everything is answered, by the store's own word; told when that takes too long.
SENT = """(limit) => new Promise((sent, late) => {
  const { store } = window.bench;
  const end = setTimeout(() => late(new Error("not sent in time")), limit);
  const look = async () => {
    if ((await store.counts()).unsent) return;
    clearTimeout(end);
    store.removeEventListener("change", look);
    sent();
  };
  store.addEventListener("change", look);
  look();
})"""


@dataclass
class Device:
    """One browser of a person, with the bench of a farm group."""

    world: World
    context: BrowserContext
    page: Page

    def sign_in(self, role: str = "lab") -> None:
        self.page.goto(f"/accounts/login/?next={self.world.url('bench/')}")
        self.enter(role)

    def enter(self, role: str) -> None:
        self.page.get_by_label("Email").fill(self.world.people[role].email)
        self.page.get_by_label("Password", exact=True).fill(PASSWORD)
        self.page.get_by_role("button", name="Sign in").click()
        self.ready()

    def ready(self, page: Page | None = None) -> None:
        (page or self.page).locator("html[data-ready=yes]").wait_for()

    def name(self, name: str = "bench by the window") -> None:
        self.page.get_by_label("Name of this device").fill(name)
        self.page.get_by_role("button", name="Keep the name").click()
        self.page.get_by_role("heading", name="What is this device").wait_for(
            state="hidden"
        )
        self.kept()

    def kept(self) -> None:
        """Wait until the worker has the page."""
        self.page.evaluate(
            "async () => { await navigator.serviceWorker.ready;"
            " while (!navigator.serviceWorker.controller) await new Promise((next) =>"
            " navigator.serviceWorker.addEventListener('controllerchange', next,"
            " { once: true })); }"
        )

    def open(self, rest: str = "") -> None:
        self.page.goto(self.world.url(f"bench/{rest}"))
        self.ready()

    def start(self, bag: Bag, scope: str = "whole", organisms: int = 1) -> str:
        told = {"bag": str(bag.uuid), "scope": scope, "organisms": organisms}
        return str(self.page.evaluate(START, told))

    def press(self, reading: str, times: int = 1) -> None:
        self.page.evaluate(PRESS, {"reading": reading, "times": times})

    def counts(self) -> dict[str, Any]:
        counts: dict[str, Any] = self.page.evaluate("() => bench.store.counts()")
        return counts

    def send(self) -> None:
        self.page.evaluate("() => { bench.sender.now(); }")
        self.page.evaluate(SENT, WAIT_MS)

    def stored(self) -> list[BenchEvent]:
        """What the server has of this farm group's devices, by number."""
        with stating(self.world.group.pk):
            return list(
                BenchEvent.objects.select_related("author", "sent_by", "device")
                .order_by("device_id", "sequence")
            )  # fmt: skip


@dataclass
class Devices:
    """Make devices, and hear what their consoles complain of."""

    browser: Browser
    base_url: str
    complaints: list[str]
    contexts: list[BrowserContext]

    def hear(self, message: ConsoleMessage) -> None:
        if message.type == "error" and not any(one in message.text for one in EXPECTED):
            self.complaints.append(message.text)

    def __call__(self, world: World, role: str = "lab", **options: Any) -> Device:
        """Give a new device, signed in, named and kept for times without a network."""
        context = self.browser.new_context(base_url=self.base_url, **options)
        device = self.of(world, context)
        device.sign_in(role)
        device.name()
        return device

    def of(self, world: World, context: BrowserContext) -> Device:
        self.contexts.append(context)
        context.set_default_timeout(WAIT_MS)
        page = context.pages[0] if context.pages else context.new_page()
        page.on("console", self.hear)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        return Device(world, context, page)


@pytest.fixture
def devices(browser: Browser, live_server: Any) -> Iterator[Devices]:
    """Make devices of the bench; what their consoles complain of fails."""
    made = Devices(browser, live_server.url, [], [])
    yield made
    for context in made.contexts:
        context.close()
    assert not made.complaints, made.complaints


@pytest.fixture
def bag(world: World) -> Bag:
    """A washed bag of today."""
    bench = Bench(world)
    first, *_ = bench.make(date.today())  # noqa: DTZ011
    bench.take(first, "collected", "received", "washed")
    return first
