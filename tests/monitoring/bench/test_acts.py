"""What devices tell beside readings: collected, received, lost, washed."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from django.utils import timezone

from blocks.models import BlockBoundary
from blocks.tenancy import stating
from monitoring.models import (
    Bag,
    BagStep,
    BenchAct,
    Organism,
    Round,
    RoundPlan,
    Wash,
    WashBatch,
)
from tests.bench_devices import Device, line
from tests.builders import World
from tests.monitoring.bags.bench import DAY, Bench

pytestmark = pytest.mark.django_db
# Within the first block of the world: 10.000 to 10.001 east, 45.000 to 45.001 north.
VINE = {"lon": 10.0004, "lat": 45.0006, "accuracy_m": 4.0}
MORNING = "2026-08-14T07:30:00.000Z"
USUAL: dict[str, Any] = {
    "number": 1,
    "washed_at": "2026-08-15T08:00:00.000Z",
    "alcohol_percent": 35.0,
    "volume_ml": 50.0,
    "shake_s": 30.0,
    "piece_cm": 2.5,
    "rinses": None,
    "note": "",
}


@pytest.fixture
def bags(world: World) -> list[Bag]:
    return Bench(world).make()


@pytest.fixture
def phone(world: World) -> Device:
    now = datetime(2026, 8, 14, 7, 30, tzinfo=UTC)
    return Device(world.people["lab"], name="Blue phone", now=now)


@pytest.fixture
def send(world: World) -> Callable[..., Any]:
    return line(world).send


def collect(device: Device, bag: Bag, point: Any = VINE, **changes: Any) -> Any:
    told = {"bag": str(bag.uuid), "collected_at": MORNING, "point": point, "note": ""}
    return device.make("collect", **{**told, **changes})


def wash(device: Device, *bags: Bag, **changes: Any) -> Any:
    keys = [str(bag.uuid) for bag in bags]
    return device.make("wash", bags=keys, **{**USUAL, **changes})


def now(bag: Bag) -> Bag:
    with stating(bag.farm_group_id):
        return Bag.objects.get(pk=bag.pk)


def acts(world: World) -> list[tuple[str, str, str]]:
    with stating(world.group.pk):
        rows = BenchAct.objects.order_by("event__sequence", "bag__code")
        return [
            (r.event.kind, r.state, r.why) for r in rows.select_related("event", "bag")
        ]


def steps(bag: Bag) -> list[BagStep]:
    with stating(bag.farm_group_id):
        rows = BagStep.objects.filter(bag=bag).exclude(before="")
        return list(rows.select_related("noted_by").order_by("pk"))


def test_a_bag_collected_without_a_network_gets_its_place_author_and_time(
    world: World, bags: list[Bag], phone: Device
) -> None:
    event = collect(phone, bags[0])
    # Signed in at the time of sending is somebody else.
    answer = line(world, "coordinator").send(phone)
    assert answer["results"] == [{"id": event["id"], "status": "stored", "why": ""}]
    found = now(bags[0])
    assert found.way == "collected"
    assert found.point is not None
    assert found.point.coords == (10.0004, 45.0006)
    assert found.point_accuracy_m == 4.0
    (step,) = steps(bags[0])
    assert step.noted_by == world.people["lab"]
    assert step.note == "14 Aug 2026, 07:30 by the clock of Blue phone"
    assert timezone.now() - step.noted_at < timedelta(minutes=5)
    assert acts(world) == [("collect", "done", "")]


def test_what_an_act_carries_besides_names_no_bag(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    collect(phone, bags[0], bags=["not a key"])
    collect(phone, bags[1], bags=[str(bags[2].uuid), str(bags[0].uuid)])
    send(phone)
    assert acts(world) == [("collect", "done", "")] * 2
    with stating(world.group.pk):
        assert BenchAct.objects.filter(bag__in=bags[:2]).count() == 2


def _days(world: World) -> tuple[list[date], list[date]]:
    """Give the days of the rounds, and of the plans."""
    with stating(world.group.pk):
        rounds = Round.objects.order_by("collected_on")
        plans = RoundPlan.objects.order_by("planned_on")
        return (
            list(rounds.values_list("collected_on", flat=True)),
            list(plans.values_list("planned_on", flat=True)),
        )


def test_a_round_walked_on_another_day_is_of_that_day_with_its_plan_and_washes(
    world: World, bags: list[Bag]
) -> None:
    walked = timezone.localdate(timezone=world.group.zone)
    planned = walked + timedelta(days=2)
    with stating(world.group.pk):
        Round.objects.update(collected_on=planned)
        RoundPlan.objects.create(
            farm_group=world.group, block=world.block, planned_on=planned,
            boundary=BlockBoundary.objects.get(block=world.block),
            organism=Organism.objects.get(code="rust_mites"), tissue="leaf",
            strata=[["mid", 3]],
            aim="stated", method="random", seed=1, buffer_m=5, minutes_per_bag=20,
        )  # fmt: skip
    at = datetime.combine(walked, time(12), world.group.zone)
    phone = Device(world.people["lab"], name="Blue phone", now=at)
    for bag in bags:
        collect(phone, bag, collected_at=at.isoformat())
    wash(phone, *bags, washed_at=at.isoformat())
    line(world).send(phone)
    assert _days(world) == ([walked], [walked])
    assert [state for _, state, _ in acts(world)] == ["done"] * 6
    told = [why for kind, _, why in acts(world) if kind == "collect"]
    assert told[0].startswith(f"its round is now that of {walked}")
    assert told[1:] == ["", ""]


def test_a_bag_collected_later_than_its_round_does_not_move_it(
    world: World, bags: list[Bag]
) -> None:
    walked = timezone.localdate(timezone=world.group.zone)
    first = walked - timedelta(days=1)
    with stating(world.group.pk):
        Round.objects.update(collected_on=first)
        Bag.objects.filter(pk=bags[0].pk).update(way="collected")
    at = datetime.combine(walked, time(12), world.group.zone)
    phone = Device(world.people["lab"], name="Blue phone", now=at)
    collect(phone, bags[1], collected_at=at.isoformat())
    line(world).send(phone)
    assert _days(world)[0] == [first]
    ((_, state, why),) = acts(world)
    assert state == "done"
    assert f"collected on {walked}, and its round stays that of {first}" in why


def test_sent_twice_or_again_in_part_an_act_is_done_once(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    first, second = collect(phone, bags[0]), collect(phone, bags[1])
    send(phone, [first])
    send(phone, [first, second])
    send(phone)
    assert [len(steps(bag)) for bag in bags] == [1, 1, 0]
    assert len(acts(world)) == 2


def test_acts_after_a_gap_wait_for_it_and_are_done_in_order(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    first = collect(phone, bags[0])
    later = phone.make("receive", bag=str(bags[0].uuid))
    send(phone, [later])
    assert now(bags[0]).way == "planned"
    send(phone, [first])
    assert [step.way for step in steps(bags[0])] == ["collected", "received"]


def test_a_collect_by_mistake_is_taken_back_with_its_place(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    collect(phone, bags[0])
    phone.make("uncollect", bag=str(bags[0].uuid), why="not this vine")
    send(phone)
    found = now(bags[0])
    assert (found.way, found.point, found.point_accuracy_m) == ("planned", None, None)
    assert steps(bags[0])[-1].note.startswith("not this vine")
    collect(phone, bags[0])
    send(phone)
    assert now(bags[0]).way == "collected"


def test_the_first_of_two_places_stands_and_the_other_is_told(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    other = Device(world.people["coordinator"], name="Red phone")
    collect(phone, bags[0])
    collect(other, bags[0], {**VINE, "lon": 10.0009})
    send(phone)
    words = send(other)["words"]
    found = now(bags[0])
    assert found.point is not None
    assert found.point.x == 10.0004
    why = "it is collected already; its place was told before and stays as it is"
    assert acts(world)[-1] == ("collect", "unchanged", why)
    assert any(why in one for one in words)


def test_a_laboratory_quicker_than_the_phone_does_not_lose_the_place(
    bags: list[Bag], phone: Device, send: Callable[..., Any], world: World
) -> None:
    Bench(world).take(bags[0], "received")
    collect(phone, bags[0])
    send(phone)
    found = now(bags[0])
    assert (found.way, found.point_accuracy_m) == ("received", 4.0)


@pytest.mark.parametrize(
    ("point", "words"),
    [
        ({"lon": 10.2, "lat": 45.0, "accuracy_m": 5}, "15.7 km from the block"),
        ({"lon": 10.0, "lat": 90.0, "accuracy_m": 5}, "far from the block"),
        ({"lon": 0, "lat": 0, "accuracy_m": None}, "from the block"),
    ],
)
def test_a_place_that_cannot_be_the_vine_is_not_taken_and_told(
    bags: list[Bag], phone: Device, send: Callable[..., Any], point: Any, words: str
) -> None:
    collect(phone, bags[0], point)
    told = send(phone)["words"]
    assert (now(bags[0]).way, now(bags[0]).point) == ("collected", None)
    assert any(words in one for one in told), told


def test_a_planned_place_is_not_given_up_for_a_vague_one(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    with stating(bags[0].farm_group_id):
        Bag.objects.filter(pk=bags[0].pk).update(
            point="SRID=4326;POINT(10.0005 45.0005)"
        )
    collect(phone, bags[0], {**VINE, "accuracy_m": 80.0})
    send(phone)
    found = now(bags[0])
    assert found.point is not None
    assert (found.point.x, found.point_accuracy_m) == (10.0005, None)


def test_without_a_position_a_bag_is_collected_all_the_same(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    collect(phone, bags[0], None)
    send(phone)
    assert (now(bags[0]).way, now(bags[0]).point) == ("collected", None)


def test_lost_and_found_at_one_device_follows_its_order(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    phone.make("lose", bag=str(bags[0].uuid), why="torn open")
    collect(phone, bags[0], note="it lay in the crate")
    send(phone)
    assert now(bags[0]).way == "collected"
    note = steps(bags[0])[-1].note
    assert note.startswith("found again; it lay in the crate")


def test_collected_before_it_was_lost_elsewhere_a_person_decides(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    bench = Bench(world)
    bench.take(bags[0], "lost")
    collect(phone, bags[0])
    words = send(phone)["words"]
    assert now(bags[0]).way == "lost"
    assert acts(world)[0][1] == "waiting"
    assert any("found again, or lost for good?" in one for one in words)


def test_a_bag_whose_counts_stand_is_not_lost_in_silence(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    with stating(world.group.pk):
        Bag.objects.filter(pk=bags[0].pk).update(way="counted")
    phone.make("lose", bag=str(bags[0].uuid), why="")
    send(phone)
    assert now(bags[0]).way == "counted"
    ((_, state, why),) = acts(world)
    assert state == "waiting"
    assert "its counts stand" in why


def test_a_wash_of_two_rounds_makes_a_batch_each_by_the_one_who_washed(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    others = Bench(world).make(DAY - timedelta(days=1))
    wash(phone, *bags, *others, shake_s=20.0, note="sticky leaves")
    line(world, "coordinator").send(phone)
    with stating(world.group.pk):
        batches = list(WashBatch.objects.order_by("pk"))
        assert Wash.objects.filter(batch__in=batches).count() == 6
    assert {batch.created_by for batch in batches} == {world.people["lab"]}
    assert {batch.analyst for batch in batches} == {world.people["lab"]}
    assert [batch.washed_on.isoformat() for batch in batches] == ["2026-08-15"] * 2
    assert batches[0].departures == [
        {"name": "shake_s", "seen": 20.0, "low": 30.0, "high": 30.0}
    ]
    note = "sticky leaves; 15 Aug 2026, 08:00 by the clock of Blue phone"
    assert batches[0].note == note
    assert {now(bag).way for bag in bags} == {"washed"}


def test_one_bag_that_cannot_be_entered_does_not_hold_the_others_up(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    other = Device(world.people["coordinator"])
    wash(other, bags[0], volume_ml=45.0)
    wash(phone, *bags)
    send(other)
    words = send(phone)["words"]
    assert [state for _, state, _ in acts(world)] == ["done", "waiting", "done", "done"]
    assert any("bag 1: " in one and "already in a batch" in one for one in words)
    with stating(world.group.pk):
        assert Wash.objects.get(bag=bags[0]).volume_ml == 45.0


def test_a_wash_told_twice_alike_changes_nothing(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    other = Device(world.people["coordinator"])
    wash(phone, *bags)
    wash(other, *bags)
    send(phone)
    assert send(other)["words"][1:] == []
    with stating(world.group.pk):
        assert WashBatch.objects.count() == 1
    assert {state for _, state, _ in acts(world)[3:]} <= {"unchanged", "done"}


def test_a_lost_bag_and_one_of_nobody_wait_and_are_named(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    Bench(world).take(bags[0], "lost")
    foreign = Bag(uuid=phone.id, farm_group_id=world.group.pk)
    wash(phone, bags[0], bags[1], foreign)
    words = " ".join(send(phone)["words"])
    assert "bag 1: it is lost" in words
    assert "bag not known here" in words
    assert now(bags[1]).way == "washed"


def test_a_wash_before_its_round_by_the_devices_clock_waits(
    bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    wash(phone, bags[0], washed_at="2001-01-01T00:00:00.000Z")
    words = send(phone)["words"]
    assert now(bags[0]).way == "planned"
    assert any("before its round was collected" in one for one in words)


def test_a_wash_later_than_its_arrival_is_taken_for_the_day_it_arrived(
    world: World, bags: list[Bag], phone: Device, send: Callable[..., Any]
) -> None:
    wash(phone, bags[0], washed_at="2090-01-01T00:00:00.000Z")
    send(phone)
    with stating(world.group.pk):
        batch = WashBatch.objects.get()
    assert batch.washed_at is not None
    assert batch.washed_at <= timezone.now()
    assert "1 Jan 2090" in batch.note


def test_bags_of_another_group_are_not_touched(
    make_world: Callable[..., World], world: World, phone: Device
) -> None:
    (theirs, *_) = Bench(make_world()).make()
    collect(phone, theirs)
    line(world).send(phone)
    assert now(theirs).way == "planned"
    assert acts(world)[0][1] == "waiting"
