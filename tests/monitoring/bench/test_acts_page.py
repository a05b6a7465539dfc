"""What waits of acts, shown to people, tried again and settled; and who sees places."""

from dataclasses import replace
from typing import Any

import pytest
from django.test import Client

from blocks.access import member_for
from blocks.errors import ConflictError
from blocks.tenancy import stating
from monitoring.models import Bag, BenchAct, BenchEvent, WashBatch
from monitoring.services import bench_acts
from tests.bench_devices import Device, line
from tests.builders import World
from tests.monitoring.bags.bench import Bench
from tests.monitoring.bench.test_acts import VINE, collect, now, wash

pytestmark = pytest.mark.django_db


@pytest.fixture
def bags(world: World) -> list[Bag]:
    return Bench(world).make()


@pytest.fixture
def phone(world: World) -> Device:
    return Device(world.people["lab"], name="Blue phone")


def see_to(world: World, act: Any, role: str = "lab", **data: str) -> str:
    url = world.url(f"bench/acts/{act['id']}/")
    answer = world.client(role).post(url, data, follow=True)
    assert answer.status_code == 200
    return str(answer.content.decode())


def states(world: World) -> list[str]:
    with stating(world.group.pk):
        rows = BenchAct.objects.order_by("event__sequence", "bag__code")
        return list(rows.values_list("state", flat=True))


def test_a_wash_of_a_lost_bag_waits_and_is_done_once_it_is_found(
    world: World, bags: list[Bag], phone: Device
) -> None:
    bench = Bench(world)
    bench.take(bags[0], "collected", "lost")
    act = wash(phone, bags[0])
    line(world).send(phone)
    page = world.client("lab").get(world.url("bench/todo/")).content.decode()
    assert "Collecting and washing that wait" in page
    assert "it is lost; mark it as found, then try again" in page
    assert "it is lost" in see_to(world, act, choice="again")
    bench.move("collected", bags[0], note="it was found")
    assert "nothing of it waits any more" in see_to(world, act, choice="again")
    assert now(bags[0]).way == "washed"
    assert states(world) == ["done"]
    with stating(world.group.pk):
        assert WashBatch.objects.get().created_by == world.people["lab"]


def test_an_act_is_settled_with_a_reason_and_once(
    world: World, bags: list[Bag], phone: Device
) -> None:
    Bench(world).take(bags[0], "lost")
    act = collect(phone, bags[0])
    line(world).send(phone)
    words = see_to(world, act, choice="settle", why="  ")
    assert "Say what was done about it" in words
    for unkept in ("a\0b", "x" * 301):
        words = see_to(world, act, choice="settle", why=unkept)
        assert "Nothing was done, the reason cannot be kept" in words
    assert states(world) == ["waiting"]
    see_to(world, act, "coordinator", choice="settle", why="It never turned up.")
    assert states(world) == ["settled"]
    page = world.client("lab").get(world.url(f"bags/{bags[0].uuid}/"))
    assert "It never turned up." in page.content.decode()
    again = see_to(world, act, choice="settle", why="twice")
    assert "Somebody has seen to this act already." in again


def test_a_fault_in_one_act_holds_up_no_other_and_is_tried_again(
    world: World,
    bags: list[Bag],
    phone: Device,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def break_down(act: Any) -> Any:
        bag = act.bags[act.uuids[0]]
        Bag.objects.filter(pk=bag.pk).update(way="lost")
        raise ZeroDivisionError

    first, _ = collect(phone, bags[0]), phone.make("receive", bag=str(bags[1].uuid))
    with monkeypatch.context() as patch:
        patch.setattr(bench_acts, "DO", {**bench_acts.DO, "collect": break_down})
        words = " ".join(line(world).send(phone)["words"])
    assert "could not work it out" in words
    # What the fault began is undone.
    assert [now(bag).way for bag in bags] == ["planned", "received", "planned"]
    see_to(world, first, choice="again")
    assert now(bags[0]).way == "collected"


def test_acts_are_not_done_again_when_the_mark_was_lost(
    world: World, bags: list[Bag], phone: Device
) -> None:
    collect(phone, bags[0])
    line(world).send(phone)
    with stating(world.group.pk):
        device = BenchEvent.objects.get().device
        device.acts_to = 0
        device.save()
    phone.make("receive", bag=str(bags[1].uuid))
    line(world).send(phone)
    assert states(world) == ["done", "done"]


def test_somebody_of_another_farm_sees_and_does_nothing_of_its_bags(
    world: World, phone: Device
) -> None:
    (theirs, *_) = Bench(world).make(block=1)
    Bench(world).take(theirs, "lost")
    collect(phone, theirs)
    line(world).send(phone)
    page = world.client("grower").get(world.url(f"bags/{theirs.uuid}/"))
    assert page.status_code == 404


def test_where_bags_were_collected_is_for_the_group_alone(
    world: World, bags: list[Bag], phone: Device, stranger: Client
) -> None:
    collect(phone, bags[0], {**VINE, "lon": 10.000417, "lat": 45.000583})
    line(world).send(phone)
    found = now(bags[0])
    assert found.point is not None
    kit = world.client("lab").get(world.url("bench/kit/")).content.decode()
    assert "10.000417" in kit
    assert stranger.get(world.url("bench/kit/")).status_code == 404
    # What leaves the group, or goes to other roles, has no bag's place in it.
    lab = world.client("lab")
    for rest in ("bags/", f"bags/{found.uuid}/", "bench/todo/"):
        page = lab.get(world.url(rest)).content.decode()
        assert "10.000417" not in page, rest


def test_what_waits_of_another_farms_bag_is_left_to_those_who_see_it(
    world: World, bags: list[Bag], phone: Device
) -> None:
    Bench(world).take(bags[0], "collected", "lost")
    wash(phone, bags[0])
    line(world).send(phone)
    with stating(world.group.pk):
        event = BenchEvent.objects.get(kind="wash")
        whole = member_for(world.people["lab"], world.slug)
        elsewhere = replace(whole, farm_ids=frozenset())
        with pytest.raises(ConflictError):
            bench_acts.settle(elsewhere, event, why="not ours")
        with pytest.raises(ConflictError):
            bench_acts.try_again(elsewhere, event)
        assert BenchAct.objects.get().why.startswith("it is lost")
        bench_acts.settle(whole, event, why="ours")
    assert states(world) == ["settled"]
