"""What the bench's page keeps through a crash, a new version, a second tab, no room."""

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from monitoring.models import Bag
from monitoring.pages.bench_files import bench_files
from monitoring.views import bench as bench_views
from tests.browser.bench_device import Device, Devices
from tests.browser.conftest import FLAGS
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
CHROMIUM = os.environ.get("WASHBOARD_CHROMIUM", "/usr/bin/chromium")
Profile = Callable[[], BrowserContext]
NUMBERS = """async (reading) =>
  (await bench.store.eventsOf(reading)).map(({ sequence }) => sequence)"""
# What becomes of an attempt to store events, in words.
OUTCOME = """async (drafts) => {
  try { await bench.store.append(drafts); return "kept"; }
  catch (error) { return error.message; }
}"""
FILL = """async (draft) => {
  try { for (;;) await bench.store.append(Array(500).fill(draft)); }
  catch (error) { return error.message; }
}"""
VERSION = "() => JSON.parse(document.getElementById('bench').textContent).version"
CACHES = (
    "async () => (await caches.keys()).filter((name) => /-[0-9a-z]{16}$/.test(name))"
)
# Presses without waiting for one another's word, each told as soon as it is kept.
HAMMER = """async (reading) => {
  const { store } = window.bench;
  const [{ payload }] = await store.eventsOf(reading);
  const press = { kind: "press", reading,
    payload: { organism: payload.organisms[0].id, place: "row 1" } };
  for (;;) {
    const [{ sequence }] = await store.append([press]);
    await window.kept(sequence);
  }
}"""


@pytest.fixture
def profile(browser: Browser, live_server: Any, tmp_path: Path) -> Iterator[Profile]:
    """Open one person's browser with what it kept on disk, again and again."""
    opened: list[BrowserContext] = []

    def open_() -> BrowserContext:
        context = browser.browser_type.launch_persistent_context(
            tmp_path / "profile",
            executable_path=CHROMIUM,
            args=FLAGS,
            base_url=live_server.url,
        )
        opened.append(context)
        return context

    yield open_
    for context in opened:
        context.close()


def test_after_a_crash_in_the_middle_of_a_press_the_reading_opens_with_every_kept_press(
    world: World, bag: Bag, devices: Devices, profile: Profile
) -> None:
    context = profile()
    device = devices.of(world, context)
    device.sign_in()
    device.name()
    reading = device.start(bag)
    device.page.evaluate(
        "(reading) => { location.hash = `#/tally/${reading}`; }", reading
    )
    expect(device.page.get_by_role("heading").first).to_be_visible()
    kept: list[int] = []
    crash = context.new_cdp_session(device.page)

    def note(sequence: int) -> None:
        kept.append(sequence)
        if len(kept) == 50:
            crash.send("Browser.crash")

    device.page.expose_function("kept", note)
    with pytest.raises(Exception, match=r"closed|crash"):
        device.page.evaluate(HAMMER, reading)

    again = devices.of(world, profile())
    again.page.goto(world.url("bench/"))
    again.ready()
    # The session ended with the browser; the page is there all the same.
    assert again.page.evaluate("() => location.hash") == f"#/tally/{reading}"
    numbers = again.page.evaluate(NUMBERS, reading)
    assert numbers == list(range(1, len(numbers) + 1))
    assert max(kept) <= len(numbers) <= max(kept) + 1


def test_the_page_can_be_installed(
    world: World, devices: Devices, profile: Profile
) -> None:
    context = profile()
    device = devices.of(world, context)
    device.sign_in()
    device.name()
    tool = context.new_cdp_session(device.page)
    assert tool.send("Page.getInstallabilityErrors")["installabilityErrors"] == []
    manifest = tool.send("Page.getAppManifest")
    assert manifest["errors"] == []
    assert manifest["url"].endswith(world.url("bench/app.webmanifest"))


@pytest.fixture
def update(monkeypatch: pytest.MonkeyPatch) -> Callable[[str], None]:
    """Let the site have another version of the page."""

    def change(version: str) -> None:
        def newer(member: Any) -> Any:
            return replace(bench_files(member), version=version)

        monkeypatch.setattr(bench_views, "bench_files", newer)

    return change


# When the browser has swapped workers, which it does once no page of the old is open.
SWAPPED = """async (scope) => {
  const { waiting } = await navigator.serviceWorker.getRegistration(scope);
  while (waiting && waiting.state !== "activated") await new Promise((next) => {
    waiting.addEventListener("statechange", next, { once: true });
  });
}"""


def look_for_update(page: Page) -> None:
    page.evaluate("async () => (await navigator.serviceWorker.ready).update()")


def test_n14_a_new_version_waits_while_a_reading_is_open_and_comes_when_asked_for(
    world: World, bag: Bag, devices: Devices, update: Callable[[str], None]
) -> None:
    device = devices(world)
    before = device.page.evaluate(VERSION)
    reading = device.start(bag)
    device.open(f"#/tally/{reading}")
    update("a" * 16)
    look_for_update(device.page)
    waits = device.page.locator("[data-version]")
    expect(waits).to_contain_text("It does not come while you count")
    device.page.reload()
    device.ready()
    assert device.page.evaluate(VERSION) == before
    # Closing every tab would let the browser swap; the reading still holds it off.
    outside = device.context.new_page()
    outside.goto(world.url())
    device.page.close()
    outside.evaluate(SWAPPED, world.url("bench/"))
    device.page = outside
    device.open()
    assert device.page.evaluate(VERSION) == before
    device.page.evaluate(
        "(reading) => bench.store.append([{ kind: 'drop', reading,"
        " payload: { why: 'spilt' } }])",
        reading,
    )
    device.open("#/unsent")
    expect(waits_of(device)).to_contain_text("A new version of this page waits")
    with device.page.expect_navigation():
        device.page.get_by_role("button", name="Use it now").click()
    device.ready()
    assert device.page.evaluate(VERSION) == "a" * 16
    assert device.page.evaluate(CACHES) == [f"bench-{world.slug}-{'a' * 16}"]
    assert device.counts()["refused"] == 0
    assert device.page.evaluate("() => bench.store.readings()")[0]["id"] == reading


def waits_of(device: Device) -> Any:
    return device.page.locator("[data-version]")


def test_the_worker_keeps_nothing_but_the_page_and_its_files(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.page.goto(world.url("bags/"))
    device.page.goto(world.url("bench/kit/"))
    device.open()
    kept = device.page.evaluate(
        "async () => { const all = []; for (const name of await caches.keys())"
        " for (const { url } of await (await caches.open(name)).keys())"
        " all.push(new URL(url).pathname); return all; }"
    )
    others = [one for one in kept if not one.startswith("/static/")]
    pages = ["bench/", "bench/app.webmanifest", "bench/shown"]
    assert sorted(others) == [world.url(page) for page in pages]


def test_n15_a_second_tab_on_a_bag_only_looks_until_the_first_is_gone(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    reading = device.start(bag)
    device.open(f"#/tally/{reading}")
    second = device.context.new_page()
    second.goto(world.url(f"bench/#/tally/{reading}"))
    device.ready(second)
    expect(second.locator("[data-locked]")).to_contain_text("counted in another tab")
    note = [{"kind": "note", "reading": reading, "payload": {"text": "x"}}]
    assert "nothing was kept here" in second.evaluate(OUTCOME, note)
    assert device.page.evaluate(OUTCOME, note) == "kept"
    device.page.close()
    expect(second.locator("[data-locked]")).to_be_hidden()
    assert second.evaluate(OUTCOME, note) == "kept"


def test_n13_without_a_store_no_count_is_started_and_the_page_says_why(
    world: World, devices: Devices
) -> None:
    device = devices(world)
    device.page.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { value: undefined });"
    )
    device.page.reload()
    device.page.get_by_role("heading", name="No count can be started here").wait_for()
    expect(device.page.get_by_role("alert").last).to_contain_text("private")


def roomy(
    devices: Devices, world: World, browser: Browser, base_url: str, *, room: int
) -> Device:
    """Give a device whose browser takes only so many bytes of the site."""
    context = browser.new_context(base_url=base_url)
    device = devices.of(world, context)
    tool = context.new_cdp_session(device.page)
    device.page.goto("/accounts/login/")
    quota = {"origin": f"{base_url}/", "quotaSize": room}
    tool.send("Storage.overrideQuotaForOrigin", quota)
    device.sign_in()
    return device


def test_n13_without_room_no_reading_is_started_and_the_page_says_why(
    world: World, devices: Devices, browser: Browser, live_server: Any
) -> None:
    device = roomy(devices, world, browser, live_server.url, room=3_000_000)
    expect(device.page.locator("[data-alert]")).to_contain_text("too little room")
    refused = device.page.evaluate(
        OUTCOME, [{"kind": "start", "reading": str(uuid4()), "payload": {}}]
    )
    assert "until then no reading can be started" in refused
    assert device.counts()["unsent"] == 0


def test_n13_a_press_for_which_there_is_no_room_is_told_as_not_kept(
    world: World, bag: Bag, devices: Devices, browser: Browser, live_server: Any
) -> None:
    device = roomy(devices, world, browser, live_server.url, room=12_000_000)
    device.context.set_offline(True)
    reading = device.start(bag)
    note = {"kind": "note", "reading": reading, "payload": {"text": "x" * 5000}}
    told = device.page.evaluate(FILL, note)
    assert "NOT kept" in told
    numbers = device.page.evaluate(NUMBERS, reading)
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) % 500 == 1
