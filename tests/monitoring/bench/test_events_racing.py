"""Batches that meet, things that fail, and other farm groups change no count."""

from collections.abc import Callable
from contextlib import suppress
from threading import Barrier, BrokenBarrierError
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection, transaction

from blocks.access import Member, member_for
from blocks.models import Membership
from blocks.tenancy import stating
from monitoring.bench.events import read_batch
from monitoring.models import BenchDevice, BenchEvent
from monitoring.services import bench_acts, bench_events, bench_readings, bench_work
from monitoring.services.bench_holding import hold
from monitoring.services.bench_readings import follow
from monitoring.services.bench_sweep import settle_left
from tests.bench_devices import NOON, Device, line
from tests.builders import World
from tests.meeting import at_once
from tests.monitoring.bench.benches import Bench, some_bags

MITES = uuid4()
real = pytest.mark.django_db(transaction=True, databases=["default", "owner"])
walled = pytest.mark.django_db


def _send(world: World, device: Device, events: Any = None) -> dict[str, Any]:
    batch = read_batch(device.batch(events))
    with transaction.atomic():
        member = member_for(device.person, world.slug)
        return bench_events.take_in(member, batch, now=NOON)


def _stored(world: World) -> list[tuple[UUID, int, UUID]]:
    with stating(world.group.pk):
        return list(
            BenchEvent.objects.order_by("device", "sequence").values_list(
                "device__uuid", "sequence", "uuid"
            )
        )


def _pressed(world: World, presses: int) -> Device:
    device = Device(world.people["lab"])
    reading = device.start(MITES)
    for _ in range(presses):
        device.press(reading, MITES)
    return device


@real
def test_one_batch_sent_by_two_requests_at_once_is_stored_once(world: World) -> None:
    device = _pressed(world, 199)
    answers = at_once(*[lambda: _send(world, device)] * 2)
    told = [{one["status"] for one in answer["results"]} for answer in answers]
    assert sorted(map(list, told)) == [["known"], ["stored"]]
    assert [number for _, number, _ in _stored(world)] == list(range(1, 201))


@real
def test_overlapping_parts_at_once_leave_every_event_there_once(
    world: World,
) -> None:
    device = _pressed(world, 239)
    parts = [device.events[at : at + 120] for at in (0, 40, 80, 120)]
    at_once(*[lambda part=part: _send(world, device, part) for part in parts])
    assert [number for _, number, _ in _stored(world)] == list(range(1, 241))
    assert _send(world, device, [])["complete_to"] == 240


@real
def test_one_key_at_two_devices_at_once_is_stored_at_one_of_them(
    world: World,
) -> None:
    key = str(uuid4())
    devices = [_pressed(world, 3) for _ in range(2)]
    for device in devices:
        device.events[2]["id"] = key
    answers = at_once(
        *[lambda device=device: _send(world, device) for device in devices]
    )
    results = [answer["results"][2] for answer in answers]
    assert sorted(one["status"] for one in results) == ["known", "stored"]
    assert sum("differs" in one["why"] for one in results) == 1
    assert sum(str(uuid) == key for _, _, uuid in _stored(world)) == 1


@real
def test_two_devices_that_begin_one_reading_at_once_do_not_share_it(
    world: World,
) -> None:
    devices = [Device(world.people["lab"]) for _ in range(2)]
    reading = devices[0].start(MITES)
    devices[1].make("start", reading, **devices[0].events[0]["payload"])
    answers = at_once(
        *[lambda device=device: _send(world, device) for device in devices]
    )
    statuses = sorted(answer["results"][0]["status"] for answer in answers)
    assert statuses == ["refused", "stored"]


@real
def test_what_fails_later_leaves_the_events_stored_and_says_so(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    device = _pressed(world, 2)

    def fail(*_: Any) -> Any:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1 / 0")

    monkeypatch.setattr(bench_work, "follow", fail)
    answer = _send(world, device)
    assert [one["status"] for one in answer["results"]] == ["stored"] * 3
    assert bench_work.NOT_WORKED_OUT in answer["words"]
    assert len(_stored(world)) == 3
    monkeypatch.undo()
    assert [one["state"] for one in _send(world, device)["readings"]] == ["open"]


@real
def test_what_would_fail_only_as_the_transaction_ends_leaves_the_events_stored(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    def write_a_wrong_key(member: Member, _: object) -> list[Any]:
        BenchDevice.objects.create(
            farm_group_id=member.group_id, uuid=uuid4(), last_person_id=10**9
        )
        return []

    monkeypatch.setattr(bench_work, "follow", write_a_wrong_key)
    answer = _send(world, _pressed(world, 2))
    assert bench_work.NOT_WORKED_OUT in answer["words"]
    assert len(_stored(world)) == 3


@real
def test_one_reading_that_fails_does_not_hold_the_others_up(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    device = _pressed(world, 1)
    other = device.start(MITES)
    faulty = UUID(device.events[0]["reading"])

    def fail_on_one(member: Member, readings: Any) -> list[dict[str, Any]]:
        if faulty in readings:
            raise ZeroDivisionError
        return follow(member, readings)

    monkeypatch.setattr(bench_work, "follow", fail_on_one)
    answer = _send(world, device)
    assert [one["id"] for one in answer["readings"]] == [str(other)]


@real
def test_a_reading_that_fails_is_seen_as_open_and_tried_at_the_next_visit(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(world)
    bag, other = some_bags(world, 2)
    key = bench.count(bag, 5)
    monkeypatch.setattr(bench_readings, "settle", lambda *_: 1 / 0)
    answer = bench.send()
    assert bench_work.NOT_WORKED_OUT in answer["words"]
    assert bench.reading(key).state == "open"
    assert bench.tallies(key) == []
    monkeypatch.undo()
    bench.start(other)
    told = {one["id"]: one["state"] for one in bench.send()["readings"]}
    assert told[key] == "published"
    assert len(bench.tallies(key)) == 1


@real
def test_what_failed_is_taken_up_though_the_device_does_not_come_again(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(world)
    bag, other = some_bags(world, 2)
    key = bench.count(bag, 5)
    monkeypatch.setattr(bench_readings, "settle", lambda *_: 1 / 0)
    bench.send()
    device = Device(world.people["lab"])
    device.make("receive", bag=str(other.uuid))
    monkeypatch.setattr(bench_acts, "apply", lambda *_, **__: 1 / 0)
    _send(world, device)
    monkeypatch.undo()
    # One device at fault leaves the other to be taken up.
    fault: dict[UUID, Any] = {bench.device: lambda *_: 1 / 0}
    monkeypatch.setattr(
        bench_work, "hold", lambda one, held: fault.get(one.uuid, hold)(one, held)
    )
    assert settle_left(world.group.pk) == 1
    monkeypatch.undo()
    with stating(world.group.pk):
        other.refresh_from_db()
    assert other.way == "received"
    assert settle_left(world.group.pk) == 1
    assert bench.reading(key).state == "published"
    assert settle_left(world.group.pk) == 0
    assert len(bench.tallies(key)) == 1


@real
def test_a_sweep_does_nothing_in_the_name_of_one_who_may_no_longer_count(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(world)
    key = bench.count(some_bags(world)[0], 5)
    monkeypatch.setattr(bench_readings, "settle", lambda *_: 1 / 0)
    bench.send()
    monkeypatch.undo()
    with stating(world.group.pk):
        Membership.objects.filter(user=world.people["lab"]).update(
            role=Membership.Role.CONSULTANT, all_farms=False
        )
    assert settle_left(world.group.pk) == 0
    assert bench.reading(key).state == "open"


@real
def test_acts_that_fail_leave_the_events_stored_and_are_done_at_the_next_visit(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    (bag,) = some_bags(world)
    device = Device(world.people["lab"])
    device.make("receive", bag=str(bag.uuid))
    monkeypatch.setattr(bench_acts, "apply", lambda *_, **__: 1 / 0)
    answer = _send(world, device)
    assert bench_work.NOT_WORKED_OUT in answer["words"]
    assert len(_stored(world)) == 1
    monkeypatch.undo()
    assert bench_work.NOT_WORKED_OUT not in _send(world, device)["words"]
    with stating(world.group.pk):
        bag.refresh_from_db()
    assert bag.way == "received"


@real
def test_acts_and_readings_of_the_same_bags_the_other_way_round_do_not_block(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both devices have done their acts before either follows its readings."""
    bags = some_bags(world, 2)
    benches = [Bench(world), Bench(world, role="coordinator")]
    for bench, (first, second) in zip(benches, (bags, bags[::-1]), strict=True):
        bench.act("receive", "", bag=str(first.uuid))
        bench.unsent[-1]["reading"] = None
        bench.count(second, 5)
    meeting, apply = Barrier(2), bench_acts.apply

    def apply_and_meet(*given: Any, **named: Any) -> list[str]:
        words = apply(*given, **named)
        # Whoever is held up elsewhere does not come.
        with suppress(BrokenBarrierError):
            meeting.wait(timeout=2)
        return words

    monkeypatch.setattr(bench_acts, "apply", apply_and_meet)
    answers = at_once(*[bench.send for bench in benches])
    assert len(answers) == 2
    for answer in answers:
        assert bench_work.NOT_WORKED_OUT not in answer["words"]
        assert [one["state"] for one in answer["readings"]] == ["published"]


@real
def test_where_nothing_is_stored_nothing_is_acknowledged(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A connection that breaks on the way must not end in an answer."""

    def break_off(*_: Any) -> Any:
        connection.close()
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")

    monkeypatch.setattr(bench_work, "follow", break_off)
    client = line(world).client
    client.raise_request_exception = False
    answer = client.post(
        world.url("bench/events/"),
        _pressed(world, 1).batch(),
        content_type="application/json",
    )
    assert answer.status_code >= 500
    assert _stored(world) == []


@walled
def test_no_group_hears_of_anothers_devices_events_or_readings(
    make_world: Callable[..., World],
) -> None:
    mine, theirs = make_world("Canary"), make_world("Magpie")
    sung = Device(mine.people["lab"], name="Canary bench")
    reading = sung.start(MITES)
    press = sung.press(reading, MITES)
    sung.make("note", reading, text="Canary note")
    line(mine).send(sung)
    # The same keys at another group's device mean nothing of the first's.
    other = Device(theirs.people["lab"], id=sung.id, name="Magpie bench")
    other.make("start", reading, **sung.events[0]["payload"])
    other.undo(reading, press)
    other.events[0]["id"] = press["id"]
    answer = line(theirs).send(other)
    assert [one["status"] for one in answer["results"]] == ["stored", "refused"]
    assert "Canary" not in str(answer)
    assert {one["id"] for one in answer["readings"]} == {str(reading)}
    assert [number for _, number, _ in _stored(mine)] == [1, 2, 3]
    assert [number for _, number, _ in _stored(theirs)] == [1, 2]
    for stranger in (line(theirs), line(theirs, "coordinator")):
        stranger.world = mine
        assert stranger.post(sung.batch()).status_code == 404
