"""What the bench's page does with what the server answers."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Route, expect

from blocks.models import Membership
from blocks.tenancy import stating
from monitoring.models import Bag
from tests.browser.bench_device import Device, Devices
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]


def answering_first(
    times: int, status: str, **more: Any
) -> tuple[list[list[int]], Callable[[Route], None]]:
    """Answer the first batches without a server; gives the numbers sent in each."""
    sent: list[list[int]] = []

    def answer(route: Route) -> None:
        events = (route.request.post_data_json or {})["events"]
        sent.append([event["sequence"] for event in events])
        if len(sent) > times:
            route.continue_()
            return
        results = [{"id": event["id"], "status": status, "why": "as told", **more}
                   for event in events]  # fmt: skip
        told = {"results": results, "missing": [], "readings": [], "words": []}
        route.fulfill(content_type="application/json", body=json.dumps(told))

    return sent, answer


def unsent_page(device: Device) -> None:
    device.page.evaluate("() => { location.hash = '#/unsent'; }")
    device.page.get_by_role("heading", name="Unsent").wait_for()


def test_n02_what_the_server_misses_is_sent_again(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    # As a site does that was restored from a backup of before the first batch.
    sent, answer = answering_first(1, "stored")
    device.page.route("**/bench/events/", answer)
    reading = device.start(bag)
    device.send()
    assert device.stored() == []
    device.press(reading, 3)
    device.send()
    assert sent == [[1], [2, 3, 4], [1]]
    assert [event.sequence for event in device.stored()] == [1, 2, 3, 4]


def test_what_an_older_site_cannot_read_waits_until_the_page_is_opened_again(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    sent, answer = answering_first(1, "refused", later=True)
    device.page.route("**/bench/events/", answer)
    device.start(bag)
    device.page.evaluate("() => bench.sender.now()")
    device.page.evaluate("() => bench.sender.now()")
    counts = device.counts()
    assert sent == [[1]]
    assert (counts["unsent"], counts["refused"]) == (1, 0)
    device.page.reload()
    device.ready()
    device.send()
    assert sent == [[1], [1]]
    assert len(device.stored()) == 1


def test_who_left_the_farm_group_is_told_and_keeps_the_events(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    with stating(world.group.pk):
        Membership.objects.filter(user=world.people["lab"]).update(
            valid_until=timezone.localdate()
        )
    device.start(bag)
    expect(device.page.locator("[data-words]")).to_contain_text(
        "You are not in this farm group any more: nothing is sent."
    )
    assert device.counts()["unsent"] == 1


def test_a_copied_store_is_told_and_begins_anew(
    world: World, bag: Bag, devices: Devices
) -> None:
    first, second = devices(world), devices(world)
    first.start(bag)
    first.send()
    key = first.page.evaluate("() => bench.store.device")
    second.page.evaluate("(key) => { bench.store.device = key; }", key)
    second.start(bag)
    second.send()
    unsent_page(second)
    expect(
        second.page.get_by_role("heading", name="This browser's storage was copied")
    ).to_be_visible()
    again = second.page.get_by_role("button", name="begin anew")
    with second.page.expect_download(), second.page.expect_navigation():
        again.focus()
        second.page.keyboard.down("Enter")
    second.page.keyboard.up("Enter")
    second.ready()
    assert second.page.evaluate("() => bench.store.device.id") != key["id"]
    assert second.counts()["refused"] == 0


def test_the_list_of_refused_events_is_cleared_by_holding_and_saved_first(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    _, answer = answering_first(1, "refused")
    device.page.route("**/bench/events/", answer)
    device.start(bag)
    device.send()
    unsent_page(device)
    expect(device.page.get_by_role("cell", name="as told")).to_be_visible()
    assert Axe().run(device.page).response["violations"] == []
    clear = device.page.get_by_role("button", name="clear this list")
    with device.page.expect_download() as download:
        clear.focus()
        device.page.keyboard.down("Enter")
    device.page.keyboard.up("Enter")
    saved = json.loads(download.value.path().read_text())
    assert [one["why"] for one in saved["refused"]] == ["as told"]
    expect(clear).to_be_hidden()
    assert device.counts()["refused"] == 0
    expect(device.page.locator("[data-words]")).to_contain_text("nothing waits")
