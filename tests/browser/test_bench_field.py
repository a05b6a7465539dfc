"""Bags collected, washed and photographed with the network off, in a real browser."""

import io
import re
from datetime import date, timedelta
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.contrib.gis.geos import Point
from PIL import Image
from playwright.sync_api import Page, expect

from blocks.files import path_of
from blocks.tenancy import stating
from monitoring.models import Bag, BagPhoto, BagStep, BenchAct, WashBatch
from tests.browser.bench_device import Device, Devices
from tests.builders import World
from tests.monitoring.bags.bench import Bench
from tests.photographs import with_gps

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
# Vines of the world's first block, a few metres apart, and where the phone stands.
VINES = [(10.0002, 45.0002), (10.0004, 45.0004), (10.0006, 45.0006)]
STANDS = [(10.00021, 45.00021), (10.00041, 45.00041), (10.00061, 45.00061)]
NO_PHOTO = """async () => {
  const { store } = window.bench;
  while ((await store.counts()).photos) {
    await bench.sender.now();
    await new Promise((next) => requestAnimationFrame(next));
  }
}"""

HEAR = """() => {
  window.heard = [];
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...at) {
    window.heard.push(this.frequency.value);
    return start.apply(this, at);
  };
}"""
CLOSED = "database connection is clos"
A_GIF = """async (bag) => {
  const { store } = window.bench;
  const { keepPicture } = await import(
    document.querySelector('script[type=module]').src.replace('app.js', 'photo.js'));
  const draw = HTMLCanvasElement.prototype.toBlob;
  HTMLCanvasElement.prototype.toBlob = (done) => done(new Blob(['GIF89a and more']));
  const canvas = document.createElement('canvas');
  const picture = await new Promise((done) => draw.call(canvas, done));
  await keepPicture(store, bag, picture);
}"""


@pytest.fixture
def bags(world: World) -> list[Bag]:
    """Bags of a round to walk, planned in walking order."""
    made = Bench(world).make(date.today() - timedelta(days=1))  # noqa: DTZ011
    with stating(world.group.pk):
        for bag, vine in zip(made, VINES, strict=True):
            Bag.objects.filter(pk=bag.pk).update(point=Point(*vine, srid=4326))
    return made


@pytest.fixture
def phone(world: World, bags: list[Bag], devices: Devices) -> Device:
    assert bags
    return devices(
        world,
        viewport={"width": 390, "height": 844},
        permissions=["geolocation"],
        geolocation=_at(STANDS[0]),
    )


def _at(place: tuple[float, float]) -> Any:
    return {"longitude": place[0], "latitude": place[1], "accuracy": 5}


def _walk(phone: Device, bags: list[Bag]) -> None:
    """Collect every bag where it hangs."""
    page = phone.page
    page.goto(phone.world.url("bench/#/collect"))
    for bag, place in zip(bags, STANDS, strict=True):
        phone.context.set_geolocation(_at(place))
        page.locator(".collect-code", has_text=bag.label_code).wait_for()
        page.get_by_text("here, within 5 m").wait_for()
        page.get_by_role("button", name="Collected", exact=True).click()
    page.locator(".collect-code", has_text="All collected").wait_for()


def _now(bag: Bag) -> Bag:
    with stating(bag.farm_group_id):
        return Bag.objects.get(pk=bag.pk)


def _all_is_there(world: World, bags: list[Bag]) -> None:
    found = [_now(bag) for bag in bags]
    assert [bag.way for bag in found] == ["washed"] * 3
    assert [bag.point.coords for bag in found if bag.point] == STANDS
    assert [bag.point_accuracy_m for bag in found] == [5.0] * 3
    with stating(world.group.pk):
        steps = list(BagStep.objects.exclude(before="").select_related("noted_by"))
        (batch,) = WashBatch.objects.select_related("analyst")
    lab = world.people["lab"]
    assert {step.noted_by for step in steps} == {lab}
    assert sorted(step.way for step in steps) == ["collected"] * 3 + ["washed"] * 3
    assert (batch.analyst, batch.shake_s) == (lab, 20)
    assert batch.departures[0]["name"] == "shake_s"


def test_collected_and_washed_without_a_network_all_arrives_once(
    world: World, bags: list[Bag], phone: Device
) -> None:
    page = phone.page
    phone.context.set_offline(True)
    _walk(phone, bags)
    page.get_by_role("link", name="Wash").click()
    expect(page.get_by_text("Alcohol burns and its vapour")).to_be_visible()
    page.get_by_role("button", name="All of these").click()
    page.get_by_label("Hard shaking, s").fill("20")
    expect(page.get_by_text("20 s shaking, not 30")).to_be_visible()
    page.get_by_role("button", name="3 bags washed").click()
    page.get_by_text("3 bags washed (wash 1). Kept on this device").wait_for()
    page.reload()
    phone.ready()
    expect(page.get_by_text("4 events unsent")).to_be_visible()
    assert [_now(bag).way for bag in bags] == ["planned"] * 3
    phone.context.set_offline(False)
    phone.send()
    _all_is_there(world, bags)
    # Sent a second time, nothing changes.
    page.evaluate("() => bench.store.sendAgain([[1, 4]])")
    phone.send()
    with stating(world.group.pk):
        assert BagStep.objects.exclude(before="").count() == 6
        assert WashBatch.objects.count() == 1
        assert BenchAct.objects.count() == 6


def test_a_slip_is_taken_back_and_a_scanned_label_collects_its_bag(
    world: World, bags: list[Bag], phone: Device
) -> None:
    page = phone.page
    page.goto(world.url("bench/#/collect"))
    page.get_by_role("button", name="Collected", exact=True).click()
    undo = page.get_by_role("button", name=f"Undo {bags[0].label_code}")
    undo.first.click()
    page.get_by_text("is not collected any more").wait_for()
    page.get_by_label("Scan or type a label").fill("22222222")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert").get_by_text("no label code")).to_be_visible()
    page.get_by_label("Scan or type a label").fill(bags[2].label)
    page.keyboard.press("Enter")
    page.get_by_text(f"{bags[2].label_code} collected at a place").wait_for()
    phone.send()
    ways = [_now(bag).way for bag in bags]
    assert ways == ["planned", "planned", "collected"]
    assert _now(bags[0]).point == Point(*VINES[0], srid=4326)


def test_without_a_position_collecting_goes_on_and_says_so(
    world: World,
    bags: list[Bag],
    devices: Devices,
) -> None:
    phone = devices(world, permissions=[])
    page = phone.page
    page.goto(world.url("bench/#/collect"))
    page.get_by_role("button", name="Use this device's position").click()
    page.get_by_text("Collecting goes on without").wait_for()
    page.get_by_role("button", name="Collected", exact=True).click()
    page.get_by_text("collected without a place").wait_for()
    phone.send()
    found = _now(bags[0])
    assert (found.way, found.point_accuracy_m) == ("collected", None)


def test_a_photograph_taken_without_a_network_arrives_without_its_place(
    world: World, bags: list[Bag], phone: Device
) -> None:
    page = phone.page
    page.goto(world.url("bench/#/collect"))
    page.get_by_role("button", name="Collected", exact=True).click()
    phone.context.set_offline(True)
    page.locator(".collect-last input[type=file]").set_input_files(
        {"name": "leaf.jpg", "mimeType": "image/jpeg", "buffer": with_gps()}
    )
    page.get_by_text("1 photograph from this device, 1 not sent yet").wait_for()
    page.reload()
    phone.ready()
    expect(page.get_by_text("1 photograph unsent")).to_be_visible()
    phone.context.set_offline(False)
    page.evaluate(NO_PHOTO)
    with stating(world.group.pk):
        (photo,) = BagPhoto.objects.select_related("bag", "taken_by")
    assert (photo.bag, photo.taken_by) == (bags[0], world.people["lab"])
    kept = path_of("photos", world.group.pk, photo.stored_name).read_bytes()
    with Image.open(io.BytesIO(kept)) as picture:
        assert not picture.getexif()
        # Held upright, as the camera noted, and no larger than is kept.
        assert picture.height > picture.width
    page.goto(world.url(f"bags/{bags[0].uuid}/"))
    shown = page.get_by_role("img", name="Photograph 1 of bag")
    shown.scroll_into_view_if_needed()
    assert shown.evaluate("(one) => one.decode().then(() => one.naturalWidth)") > 0


def test_shaking_is_counted_down_and_its_end_is_heard(
    world: World, bags: list[Bag], phone: Device
) -> None:
    page = phone.page
    Bench(world).take(bags[0], "collected")
    page.reload()
    phone.ready()
    page.clock.install()
    page.get_by_role("link", name="Wash").click()
    page.evaluate(HEAR)
    page.get_by_role("button", name="Shake for 30 s").click()
    page.clock.run_for(10_000)
    expect(page.get_by_role("timer")).to_have_text("20 s")
    page.clock.run_for(19_000)
    expect(page.get_by_role("timer")).to_have_text("1 s")
    before = page.evaluate("() => window.heard.length")
    page.clock.run_for(1_000)
    expect(page.get_by_role("timer")).to_have_text("Done")
    # Two at 20 and at 10 s each, one at the start; the long one is of two waves.
    assert before == 5
    assert page.evaluate("() => window.heard.length") == before + 2


def test_a_file_that_the_server_refuses_is_listed_with_its_reason(
    world: World, bags: list[Bag], phone: Device
) -> None:
    page = phone.page
    page.evaluate(A_GIF, str(bags[0].uuid))
    page.evaluate(NO_PHOTO)
    page.get_by_role("link", name="Unsent").click()
    page.get_by_role("listitem").filter(
        has_text="This is a GIF, not a photograph"
    ).wait_for()
    page.get_by_role("button", name="Send again").click()
    page.evaluate(NO_PHOTO)
    page.get_by_role("listitem").filter(
        has_text="This is a GIF, not a photograph"
    ).wait_for()
    with stating(world.group.pk):
        assert BagPhoto.objects.count() == 0


def test_a_device_that_begins_anew_takes_its_photographs_along(
    world: World, bags: list[Bag], phone: Device, devices: Devices
) -> None:
    page = phone.page
    page.goto(world.url("bench/#/collect"))
    page.get_by_role("button", name="Collected", exact=True).click()
    phone.context.set_offline(True)
    page.locator(".collect-last input[type=file]").set_input_files(
        {"name": "leaf.jpg", "mimeType": "image/jpeg", "buffer": with_gps()}
    )
    page.get_by_text("1 not sent yet").wait_for()
    before = page.evaluate("() => bench.store.device.id")
    # The network is back for the kit alone, so that nothing is sent in time.
    sending = re.compile(r"/bench/(events|photos)/")
    phone.context.route(sending, lambda route: route.abort())
    phone.context.set_offline(False)
    page.evaluate("() => { bench.store.beginAnew().then(() => location.reload()); }")
    page.get_by_label("Name of this device").wait_for()
    phone.ready()
    phone.context.unroute(sending)
    # What was under way at the old store when it closed says so, and is gone with it.
    devices.complaints[:] = [one for one in devices.complaints if CLOSED not in one]
    page.get_by_label("Name of this device").fill("the same phone, anew")
    page.get_by_role("button", name="Keep the name").click()
    page.evaluate(NO_PHOTO)
    assert page.evaluate("() => bench.store.device.id") != before
    with stating(world.group.pk):
        (photo,) = BagPhoto.objects.select_related("bag")
    assert photo.bag == bags[0]


@pytest.mark.parametrize("palette", ["dark", "light", "red"])
@pytest.mark.parametrize("width", [390, 1440])
def test_collecting_and_washing_fit_and_pass_axe_in_every_palette(
    world: World,
    bags: list[Bag],
    devices: Devices,
    palette: str,
    width: int,
) -> None:
    phone = devices(
        world,
        viewport={"width": width, "height": 844},
        permissions=["geolocation"],
        geolocation=_at(STANDS[0]),
    )
    page = phone.page
    page.evaluate("(one) => bench.store.keepSetting('palette', one)", palette)
    page.goto(world.url("bench/#/collect"))
    page.get_by_role("button", name="Collected", exact=True).click()
    page.get_by_text("collected at a place").wait_for()
    _look(page)
    page.get_by_role("link", name="Wash").click()
    page.get_by_role("button", name="All of these").click()
    page.get_by_label("Hard shaking, s").fill("20")
    _look(page)
    assert bags


def _look(page: Page) -> None:
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= page.viewport_size["width"]  # type: ignore[index]
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
