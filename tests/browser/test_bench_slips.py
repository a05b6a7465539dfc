"""Slips at the bench: taps that come twice, ways back, full disks, wrong answers."""

from datetime import date, timedelta
from typing import Any

import pytest
from playwright.sync_api import expect

from blocks.tenancy import stating
from monitoring.models import Bag, Dish
from tests.browser.bench_device import Device, Devices
from tests.browser.bench_tally import BUZZ, HEAR, Tally
from tests.browser.test_bench_answers import answering_first
from tests.builders import World
from tests.monitoring.bags.bench import Bench

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
CELLS_ONLY = {"predatory mites": "none", "thrips": "none"}
SUBMIT_TWICE = "(form) => { form.requestSubmit(); form.requestSubmit(); }"
ACTS = "async () => (await bench.store.acts()).map((one) => one.kind)"
READINGS = "async () => (await bench.store.readings()).map((one) => one.state)"
# As many bags more as would not go in one wash, all collected.
MANY_BAGS = """async () => {
  const kit = bench.store.kit();
  const bags = Array.from({ length: 101 }, (_, i) => ({ ...kit.bags[0],
    id: crypto.randomUUID(), code: `${i}`, way: "collected", washes: [] }));
  await bench.store.keepKit({ ...kit, bags });
  // An answer of the site that is on its way would take its place.
  bench.store.keepKit = async () => {};
}"""
FULL = """() => {
  bench.store.keepSetting = async () => {
    throw new DOMException("no room", "QuotaExceededError");
  };
}"""
REFRESH = """async () => {
  const { refreshKit } = await import("/static/monitoring/bench/kit.js");
  return refreshKit(bench.sender);
}"""
# A picture of a few points, kept; gives what is said of it once it was sent.
PICTURE = """async (bag) => {
  const [{ keepPicture, photoButton }, { h }] = await Promise.all(["photo", "elements"]
    .map((name) => import(`/static/monitoring/bench/${name}.js`)));
  const canvas = h("canvas", { width: 9, height: 9 });
  const blob = await new Promise((done) => canvas.toBlob(done));
  await keepPicture(bench.store, bag, blob);
  while ((await bench.store.counts()).photos) await bench.sender.now();
  const says = photoButton({ store: bench.store, bag }).querySelector(".photo-says");
  if (!says.textContent) await new Promise((done) => new MutationObserver(done)
    .observe(says, { childList: true }));
  return says.textContent;
}"""
SIGNALS = """
window.unended = [];
const ask = window.fetch;
window.fetch = (address, options = {}) => {
  if (!(options.signal instanceof AbortSignal)) unended.push(String(address));
  return ask(address, options);
};
"""


@pytest.fixture
def device(world: World, bag: Bag, devices: Devices) -> Device:
    """A device that hears its tones, at the list of bags."""
    assert bag.label
    device = devices(world, viewport={"width": 1280, "height": 860})
    device.context.add_init_script(HEAR)
    device.context.add_init_script(SIGNALS)
    device.open()
    return device


def to(device: Device, view: str, heading: str) -> None:
    device.page.evaluate("(view) => { location.hash = `#/${view}`; }", view)
    device.page.get_by_role("heading", name=heading).wait_for()


def test_a_start_that_is_tapped_twice_begins_one_reading(
    device: Device, bag: Bag
) -> None:
    device.page.keyboard.type(f"{bag.label}\n")
    device.page.get_by_role("button", name="Start counting").wait_for()
    device.page.locator("form.start").evaluate(SUBMIT_TWICE)
    device.page.locator(".tally").wait_for()
    assert device.page.evaluate(READINGS) == ["open"]


def test_a_wash_that_is_tapped_twice_is_kept_once(world: World, device: Device) -> None:
    for bag in Bench(world).make(date.today() - timedelta(days=1)):  # noqa: DTZ011
        Bench(world).take(bag, "collected")
    device.page.reload()
    device.ready()
    to(device, "wash", "Wash bags")
    device.page.get_by_role("button", name="All of these").first.click()
    device.page.locator(".wash-form").evaluate(SUBMIT_TWICE)
    device.page.get_by_text("Kept on this device").wait_for()
    assert device.page.evaluate(ACTS) == ["wash"]


def test_more_bags_than_one_batch_takes_are_told_before_they_are_kept(
    device: Device,
) -> None:
    device.page.evaluate(MANY_BAGS)
    to(device, "wash", "Wash bags")
    device.page.get_by_role("button", name="All of these").click()
    device.page.get_by_role("button", name="101 bags washed").click()
    expect(device.page.get_by_text("At most 100 bags")).to_be_visible()
    assert device.page.evaluate(ACTS) == []


def test_a_dropped_reading_cannot_be_finished(device: Device, bag: Bag) -> None:
    reading = device.start(bag)
    device.page.evaluate(
        "(reading) => bench.store.append([{ kind: 'drop', reading,"
        " payload: { why: 'spilt' } }])",
        reading,
    )
    for view, heading in (("finish", "Read back"), ("tally", "Tally")):
        to(device, f"{view}/{reading}", heading)
        expect(device.page.get_by_text("This reading was dropped")).to_be_visible()
        device.page.keyboard.press("Numpad0")
    assert device.page.evaluate(READINGS) == ["dropped"]


def test_nothing_is_counted_in_a_place_that_was_skipped(
    device: Device, bag: Bag
) -> None:
    tally = Tally(device)
    tally.begin(bag, scopes=CELLS_ONLY)
    first = tally.place
    tally.keys("y")
    tally.keys("2")
    tally.keys("h")
    assert tally.place == first
    expect(tally.words).to_contain_text("was skipped: nothing is counted there")
    tally.keys("j")
    assert tally.heard[-1] == BUZZ
    expect(tally.total("rust mites")).to_have_text("0")
    assert tally.kinds() == ["start", "skip"]


def test_all_of_a_dish_is_read_back_without_an_interval_and_its_leaf_with_one(
    world: World, device: Device, bag: Bag
) -> None:
    with stating(world.group.pk):
        Dish.objects.filter(farm_group=world.group).update(
            inner_diameter_mm=60, pitch_mm=20
        )
    device.page.reload()
    device.ready()
    tally = Tally(device)
    tally.begin(bag, scopes={**CELLS_ONLY, "rust mites": "whole"})
    tally.keys("j", "j", "j")
    while tally.place != "Done":
        tally.go_on()
    tally.keys("/")
    row = device.page.get_by_role("row", name="rust mites")
    expect(row.get_by_role("cell").nth(1)).to_have_text("3, all of it seen")
    expect(row.get_by_role("cell").nth(2)).to_contain_text("about")
    expect(row.get_by_role("cell").nth(2)).to_contain_text(" to ")


def test_all_cells_read_are_all_of_the_dish(device: Device) -> None:
    found = device.page.evaluate(
        "async () => { const { dishTotal } = await import("
        "'/static/monitoring/bench/sampling.js');"
        " return dishTotal([2, 0, 5], [1, 1.1, 0.9], { area_mm2: 3, cells: 3 }, 2); }"
    )
    assert found == {"total": 7, "error": 0, "share": 1, "low": 7, "high": 7}


def test_a_full_disk_leaves_the_way_to_what_was_not_sent(
    device: Device, devices: Devices, bag: Bag
) -> None:
    reading = device.start(bag)
    device.page.evaluate(FULL)
    device.page.evaluate(
        "(reading) => { location.hash = `#/tally/${reading}`; }", reading
    )
    expect(device.page.locator("[data-alert]")).to_contain_text("did not open")
    to(device, "unsent", "Unsent")
    expect(device.page.get_by_role("button", name="Save to a file")).to_be_visible()
    # The console says it too.
    assert all("no room" in one for one in devices.complaints)
    devices.complaints.clear()


def test_what_the_server_refused_stays_undone_when_its_list_is_cleared(
    device: Device,
) -> None:
    # Of the round's three bags one is washed.
    _, answer = answering_first(9, "refused")
    device.page.route("**/bench/events/", answer)
    to(device, "collect", "Collect")
    device.page.get_by_role("button", name="Collected", exact=True).click()
    device.page.get_by_text("2 of 3 collected").wait_for()
    device.send()
    device.page.evaluate("() => bench.store.forgetRefused()")
    device.page.get_by_text("1 of 3 collected").wait_for()


def test_an_answer_that_is_not_the_sites_is_tried_again(device: Device) -> None:
    device.page.route(
        "**/bench/kit/",
        lambda route: route.fulfill(content_type="text/html", body="<p>Welcome</p>"),
    )
    assert device.page.evaluate(REFRESH) == "away"
    assert device.page.evaluate("() => bench.store.kit().bags.length") > 0


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (None, "1 photograph from this device, sent."),
        (
            {"status": 422, "json": {"detail": "It is no photograph."}},
            "1 photograph from this device, 1 refused by the server (see Unsent).",
        ),
    ],
)
def test_a_photograph_is_told_as_sent_only_when_the_server_took_it(
    device: Device, bag: Bag, answer: dict[str, Any] | None, said: str
) -> None:
    if answer:
        device.page.route(
            "**/bench/photos/*/", lambda route: route.fulfill(**(answer or {}))
        )
    assert device.page.evaluate(PICTURE, str(bag.uuid)) == said
    # Every request ends by itself, so that none holds up the sending of all tabs.
    assert device.page.evaluate("() => unended") == []


def test_a_file_whose_device_has_no_key_is_told_and_not_taken(
    world: World, device: Device
) -> None:
    to(device, "unsent", "Unsent")
    content = (
        '{"format": "bench events", "schema": 1, "group": "%s", "devices": ['
        '{"device": {"id": "mine"}, "events": [{"id": "a", "sequence": 1}]}]}'
    )
    file: Any = {
        "name": "x.json",
        "mimeType": "application/json",
        "buffer": (content % world.slug).encode(),
    }
    device.page.get_by_label("File saved by another device").set_input_files(file)
    expect(device.page.locator("[data-alert]")).to_contain_text("was changed")
    assert device.counts()["carried"] == 0
