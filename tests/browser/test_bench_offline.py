"""The bench without a network: kept, sent later, nothing lost or doubled."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from playwright.sync_api import Request, Route, expect

from monitoring.models import Bag
from tests.browser.bench_device import Device, Devices
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
MakeDevice = Callable[..., Device]


def words(device: Device) -> Any:
    return device.page.locator("[data-words]")


def test_page_opens_and_counts_without_a_network(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.set_offline(True)
    device.page.reload()
    device.ready()
    expect(device.page.locator("[data-who]")).to_contain_text(world.people["lab"].name)
    reading = device.start(bag)
    device.press(reading, 3)
    expect(words(device)).to_contain_text("Saved here, 4 events unsent")
    device.page.reload()
    device.ready()
    assert device.counts()["unsent"] == 4
    device.context.set_offline(False)
    device.page.evaluate("() => dispatchEvent(new Event('online'))")
    expect(words(device)).to_contain_text("Saved here and sent: nothing waits")
    assert [event.kind for event in device.stored()] == ["start", *["press"] * 3]


def test_n04_thousands_of_events_of_days_go_in_batches_and_go_on_where_they_broke_off(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    sizes: list[int] = []

    def note(request: Request) -> None:
        if request.url.endswith("/bench/events/"):
            sizes.append(len((request.post_data_json or {})["events"]))

    device.context.set_offline(True)
    reading = device.start(bag)
    device.press(reading, 4999)
    device.page.on("request", note)
    # The third batch breaks off on its way there.
    device.page.route("**/bench/events/", _breaking(third=True))
    device.context.set_offline(False)
    device.send()
    assert max(sizes) <= 500
    events = device.stored()
    assert [event.sequence for event in events] == list(range(1, 5001))
    assert not any(event.refusal for event in events)


def _breaking(*, third: bool) -> Callable[[Route], None]:
    seen = []

    def answer(route: Route) -> None:
        seen.append(route)
        if third and len(seen) == 3:
            route.abort()
        else:
            route.continue_()

    return answer


def test_n12_an_answer_that_was_lost_makes_nothing_twice(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    lost: list[int] = []

    def lose_first(route: Route) -> None:
        if lost:
            route.continue_()
            return
        answer = route.fetch()
        lost.append(answer.status)
        route.abort()

    device.context.set_offline(True)
    reading = device.start(bag)
    device.press(reading, 20)
    device.page.route("**/bench/events/", lose_first)
    device.context.set_offline(False)
    device.send()
    assert lost == [200]
    assert [event.sequence for event in device.stored()] == list(range(1, 22))
    assert device.counts()["refused"] == 0


def test_n05_signed_out_events_are_kept_and_go_after_signing_in(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.clear_cookies()
    reading = device.start(bag)
    device.press(reading, 2)
    note = device.page.locator("[data-nag]")
    expect(note).to_have_text("Sign in to send; 3 events are kept here.")
    assert device.stored() == []
    device.page.get_by_role("link", name="Sign in to send").click()
    device.enter("lab")
    expect(words(device)).to_contain_text("nothing waits")
    assert len(device.stored()) == 3
    expect(note).to_be_hidden()


def test_signing_out_leaves_what_was_not_sent(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.route("**/bench/events/", lambda route: route.abort())
    reading = device.start(bag)
    device.press(reading, 2)
    # Not the map, whose requests would be broken off.
    device.page.goto(world.url("bags/"))
    device.page.get_by_role("button", name="Sign out").click()
    device.page.get_by_role("link", name="Sign in").or_(
        device.page.get_by_role("button", name="Sign in")
    ).first.wait_for()
    device.open()
    assert device.counts()["unsent"] == 3
    expect(device.page.locator("[data-nag]")).to_contain_text("Sign in to send")


def test_n17_what_one_person_did_stays_in_that_persons_name(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.set_offline(True)
    reading = device.start(bag)
    device.press(reading)
    device.context.clear_cookies()
    device.context.set_offline(False)
    device.sign_in("coordinator")
    expect(device.page.locator("[data-seen]")).to_contain_text(
        f"What {world.people['lab'].name} did stays in"
    )
    device.press(reading)
    device.send()
    lab, coordinator = world.people["lab"], world.people["coordinator"]
    assert [event.author for event in device.stored()] == [lab, lab, coordinator]
    assert {event.sent_by for event in device.stored()} == {coordinator}
    # Without a network the bench is the last person's, by name.
    device.context.set_offline(True)
    device.page.reload()
    device.ready()
    expect(device.page.locator("[data-who]")).to_contain_text(coordinator.name)


def test_n20_how_much_waits_since_when_is_always_in_sight(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    begun = datetime.now(UTC)
    device.context.set_offline(True)
    device.page.clock.set_fixed_time(begun)
    reading = device.start(bag)
    device.press(reading)
    device.page.clock.set_fixed_time(begun + timedelta(hours=3, minutes=2))
    device.page.evaluate("() => bench.status.refresh()")
    expect(words(device)).to_contain_text("2 events unsent, the oldest for 3 h")
    expect(device.page.locator("[data-nag]")).to_be_hidden()
    device.page.clock.set_fixed_time(begun + timedelta(days=3))
    device.page.evaluate("() => bench.status.refresh()")
    expect(device.page.locator("[data-nag]")).to_contain_text(
        "2 events have not left this device for 3 days"
    )


def test_a_clock_set_back_changes_no_order_and_the_server_says_so(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.set_offline(True)
    reading = device.start(bag)
    device.page.clock.set_fixed_time(datetime(2019, 5, 1, tzinfo=UTC))
    device.press(reading, 2)
    device.page.evaluate("() => bench.status.refresh()")
    expect(words(device)).to_contain_text("this device's clock was set back")
    device.context.set_offline(False)
    device.send()
    events = device.stored()
    assert [event.kind for event in events] == ["start", "press", "press"]
    assert [event.device_at.year for event in events][1:] == [2019, 2019]
    expect(device.page.locator("[data-told]")).to_contain_text("clock")


def test_a_file_of_unsent_events_goes_through_another_device(
    world: World, bag: Bag, devices: Devices, tmp_path: Any
) -> None:
    stuck = devices(world)
    stuck.context.set_offline(True)
    reading = stuck.start(bag)
    stuck.press(reading, 4)
    stuck.page.evaluate("() => { location.hash = '#/unsent'; }")
    with stuck.page.expect_download() as download:
        stuck.page.get_by_role("button", name="Save to a file").click()
    file = tmp_path / "events.json"
    download.value.save_as(file)

    other = devices(world, "coordinator")
    other.open("#/unsent")
    other.page.get_by_label("File saved by another device").set_input_files(file)
    expect(other.page.locator("[data-seen]")).to_contain_text(
        "5 events of 1 device taken from the file"
    )
    other.send()
    own = stuck.page.evaluate("() => bench.store.device.id")
    assert {str(event.device.uuid) for event in other.stored()} == {own}
    # The first device sends them too, later: they are known.
    stuck.context.set_offline(False)
    stuck.send()
    assert [event.sequence for event in stuck.stored()] == [1, 2, 3, 4, 5]
    assert stuck.counts()["refused"] == 0


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("not json", "not a file that a bench saved"),
        ('{"format": "bench events", "schema": 2, "devices": []}', "newer version"),
        (
            '{"format": "bench events", "schema": 1, "group": "elsewhere",'
            ' "devices": []}',
            "of another farm group",
        ),
    ],
)
def test_a_file_that_is_not_ours_is_told_and_changes_nothing(
    world: World, devices: Devices, content: str, said: str
) -> None:
    device = devices(world)
    device.open("#/unsent")
    device.page.get_by_label("File saved by another device").set_input_files(
        {"name": "x.json", "mimeType": "application/json", "buffer": content.encode()}
    )
    expect(device.page.locator("[data-alert]")).to_contain_text(said)
    assert device.counts()["unsent"] == 0


def test_what_the_server_refuses_is_kept_and_shown_with_its_reason(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    reading = device.start(bag)
    device.page.evaluate(
        "(reading) => bench.store.append([{ kind: 'press', reading,"
        " payload: { organism: 'nothing', place: '' } }])",
        reading,
    )
    device.send()
    assert device.counts()["refused"] == 1
    # What counts for nothing on the server counts for nothing here.
    kinds = "async (id) => (await bench.store.eventsOf(id)).map((one) => one.kind)"
    assert device.page.evaluate(kinds, reading) == ["start"]
    expect(words(device)).to_contain_text("1 refused by the server")
    device.page.evaluate("() => { location.hash = '#/unsent'; }")
    expect(device.page.get_by_role("heading", name="Refused")).to_be_visible()
