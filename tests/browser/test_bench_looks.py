"""The bench's tally pages: for everybody's eyes, and on a phone."""

import json
import random
from datetime import date, timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from monitoring.models import Bag
from tests.browser.bench_device import Devices
from tests.browser.bench_tally import Tally
from tests.builders import World
from tests.monitoring.bags.bench import Bench

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
# At least so bright and at most so dark, by relative luminance (WCAG 2.2).
DIM = 0.1
LUMINANCE = """() => {
  const [r, g, b] = getComputedStyle(document.documentElement).backgroundColor
    .match(/\\d+/g).map((one) => one / 255)
    .map((one) => (one <= 0.04045 ? one / 12.92 : ((one + 0.055) / 1.055) ** 2.4));
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}"""


def _look(page: Page, where: str) -> None:
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"], where  # type: ignore[index]
    found = Axe().run(page)
    assert found.violations_count == 0, (where, found.generate_report())


@pytest.mark.parametrize("palette", ["dark", "light", "red"])
@pytest.mark.parametrize("width", [390, 1440])
def test_each_view_fits_and_passes_axe_in_every_palette(
    world: World, bag: Bag, devices: Devices, palette: str, width: int
) -> None:
    Bench(world).make(date.today() - timedelta(days=3))  # noqa: DTZ011
    device = devices(world, viewport={"width": width, "height": 844})
    page, tally = device.page, Tally(device)
    page.evaluate("(one) => bench.store.keepSetting('palette', one)", palette)
    device.open("?look")
    assert (page.evaluate(LUMINANCE) <= DIM) == (palette != "light")
    _look(page, "pick")
    _look_while_counting(tally, bag)
    page.get_by_role("button", name="Next bag").click()
    page.locator(".bag-row").first.click()
    page.get_by_role("button", name="Start counting").wait_for()
    _look(page, "start")
    page.goto(world.url("bench/#/keys"))
    page.get_by_role("heading", name="Keys and sounds").wait_for()
    _look(page, "keys")


def _look_while_counting(tally: Tally, bag: Bag) -> None:
    page = tally.page
    tally.begin(bag)
    tally.keys("j", "j", "k")
    _look(page, "tally")
    tally.keys("y")
    _look(page, "skip")
    tally.keys("y")
    page.get_by_role("button", name="Note and more").click()
    _look(page, "more")
    page.get_by_role("button", name="Back to the tally").click()
    tally.read_cells("j", [1] * 10)
    page.get_by_role("heading", name="How many cells").wait_for()
    _look(page, "call")
    tally.keys("/")
    page.get_by_role("heading", name="Read back").wait_for()
    _look(page, "read back")
    tally.keys("1")
    tally.keys("Space")
    page.get_by_role("heading", name="Finished").wait_for()
    _look(page, "finished")


def test_what_the_page_keeps_up_press_by_press_is_what_its_fold_gives(
    world: World, devices: Devices
) -> None:
    page = devices(world).page
    for seed in range(40):
        events = _some_reading(random.Random(seed))  # noqa: S311 - guessed by nobody
        live, folded = page.evaluate(BOTH, json.dumps(events))
        assert live == folded, seed
    expect(page.locator("main")).to_be_visible()


BOTH = """async (told) => {
  const [{ Live }, { fold }] = await Promise.all(["live", "fold"]
    .map((name) => import(`/static/monitoring/bench/${name}.js`)));
  const events = JSON.parse(told), live = new Live(events), folded = fold(events);
  const { state } = live;
  const ids = live.started.organisms.map(({ id }) => id);
  return [
    { read: state.read, skipped: state.skipped, called: state.called ?? null,
      score: state.score, counts: ids.map((id) => live.counted(id)),
      last: live.lastAct?.id ?? null, undone: live.lastUndone?.id ?? null,
      uncountable: ids.map((id) => state.uncountable.has(id)) },
    { read: folded.read, skipped: folded.skipped, called: folded.called,
      score: folded.score, counts: ids.map((id) => folded.organisms[id].count),
      last: folded.last_active, undone: folded.last_undone,
      uncountable: ids.map((id) => folded.organisms[id].uncountable) },
  ];
}"""


def _some_reading(chance: random.Random) -> list[dict[str, Any]]:
    """Make acts as the page makes them: undo takes the last, redo the last undone."""
    organisms = [{"id": "a", "scope": "cells"}, {"id": "b", "scope": "whole"}]
    events: list[dict[str, Any]] = [
        {"kind": "start", "payload": {"organisms": organisms, "magnification": None}}
    ]
    active: list[str] = []
    undone: list[str] = []
    for number in range(1, 120):
        kind, payload = _some_act(chance, active, undone)
        if kind not in {"undo", "redo"}:
            active.append(str(number))
            undone.clear()
        events.append({"kind": kind, "payload": payload})
    return [
        {"id": str(number), "sequence": number, "at": "", "author": "", **event}
        for number, event in enumerate(events)
    ]


def _some_act(
    chance: random.Random, active: list[str], undone: list[str]
) -> tuple[str, dict[str, Any]]:
    draw = chance.random()
    if draw < 0.2 and active:
        undone.append(active.pop())
        return "undo", {"event": undone[-1]}
    if draw < 0.3 and undone:
        active.append(undone.pop())
        return "redo", {"event": active[-1]}
    name = chance.choice(["cells", "whole"])
    place = (
        chance.choice("ABC") + "1" if name == "cells" else f"row {chance.choice('12')}"
    )
    acts: list[tuple[str, dict[str, Any]]] = [
        ("press", {"organism": chance.choice("ab"), "place": place}),
        ("press", {"organism": "a", "place": "A1"}),
        ("read", {"pass": name, "place": place}),
        ("skip", {"pass": name, "place": place, "why": "debris"}),
        ("call", {"cells": chance.randint(10, 40)}),
        ("score", {"value": chance.randint(0, 4)}),
        ("uncountable", {"organism": chance.choice("ab")}),
    ]
    return chance.choice(acts)
