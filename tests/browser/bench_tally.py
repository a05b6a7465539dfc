"""A person at the microscope: counts by keys alone, and hears what the page sounds."""

from dataclasses import dataclass
from typing import Any

from playwright.sync_api import Locator, Page, expect

from monitoring.labels.codes import printed
from monitoring.models import Bag
from tests.browser.bench_device import Device

# What every tone is, in the order heard; the first wave of two is the tone.
HEAR = """
window.heard = [];
const start = OscillatorNode.prototype.start;
OscillatorNode.prototype.start = function (when) {
  window.heard.push([this.type, Math.round(this.frequency.value)]);
  window.onHeard?.();
  return start.call(this, when);
};
"""
# How many acts were on disk at each tone: listens before the page can.
DISK = """
window.done = 0;
window.atTone = [];
const open = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (...terms) {
  const made = open.apply(this, terms);
  made.addEventListener("complete", () => { window.done += made.acts ?? 0; });
  return made;
};
const add = IDBObjectStore.prototype.add;
IDBObjectStore.prototype.add = function (...terms) {
  this.transaction.acts = (this.transaction.acts ?? 0) + 1;
  return add.apply(this, terms);
};
window.onHeard = () => { atTone.push(done); };
"""
# What is said aloud, and how often the screen was asked to stay on.
SAY = """
window.said = [];
window.asked = 0;
speechSynthesis.speak = ({ text }) => { said.push(text); };
Object.defineProperty(navigator, "wakeLock", { value: { request: async () => {
  asked += 1;
  return { release: async () => { asked -= 1; } };
} } });
"""
UNDONE, BUZZ = ["sawtooth", 620], ["square", 95]


@dataclass
class Tally:
    """One reading at a device."""

    device: Device
    turns: int = 0

    @property
    def page(self) -> Page:
        return self.device.page

    def begin(self, bag: Bag, *, scopes: dict[str, str] | None = None) -> None:
        """Scan the bag, say what is counted, and start; all by keys."""
        expect(self.page.get_by_label("Scan or type the label")).to_be_focused()
        self.page.keyboard.type(f"{printed(bag.label)}\n")
        start = self.page.get_by_role("button", name="Start counting")
        expect(start).to_be_focused()
        for name, scope in (scopes or {}).items():
            self.page.get_by_label(name, exact=True).select_option(scope)
        start.press("Enter")
        self.page.locator(".tally").wait_for()

    def keys(self, *keys: str) -> None:
        """Press keys, one after the other, and wait until the disk has them."""
        for key in keys:
            self.page.keyboard.press(key)
            self.settle()

    def settle(self) -> None:
        # The page takes no keys faster than any finger; frames may come close together.
        self.page.evaluate(
            "async () => { await document.querySelector('.tally')?.desk.settled();"
            " const from = performance.now();"
            " while (performance.now() - from < 30)"
            " await new Promise(requestAnimationFrame); }"
        )

    def go_on(self, *keys: str) -> str:
        """Say that the place is read; gives the next one.

        Two keys take turns: the same one twice at once is taken once.
        """
        self.settle()
        before, self.turns = self.place, self.turns + 1
        self.page.keyboard.press((keys or ("Space", "Enter"))[self.turns % 2])
        expect(self.page.locator("[data-place]")).not_to_have_text(before)
        return self.place

    def read_cells(self, key: str, counts: list[int], *on: str) -> None:
        for count in counts:
            self.keys(*[key] * count)
            self.go_on(*on)

    @property
    def place(self) -> str:
        return self.page.locator("[data-place]").inner_text()

    def total(self, organism: str) -> Locator:
        return self.page.locator(".hit", has_text=organism).locator("output")

    @property
    def words(self) -> Locator:
        return self.page.locator(".tally-words")

    @property
    def heard(self) -> list[Any]:
        tones: list[Any] = self.page.evaluate("() => window.heard")
        return tones

    def reading(self) -> str:
        return self.page.url.rsplit("/", 1)[-1]

    def events(self) -> list[dict[str, Any]]:
        """What is on the device's disk of the reading."""
        events: list[dict[str, Any]] = self.page.evaluate(
            "(id) => bench.store.eventsOf(id)", self.reading()
        )
        return events

    def kinds(self) -> list[str]:
        return [event["kind"] for event in self.events()]
