"""The calendar of rounds due, read by icalendar, and who may read it."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from blocks.access import member_for
from blocks.models import Membership, User
from blocks.tenancy import stating
from monitoring.models import Bag, Round, RoundPlan
from monitoring.services.plans import put_off, set_habits, withdraw_plan
from tests.builders import World
from tests.tenancy.plan_world import NOW, TODAY, give_plan

pytestmark = pytest.mark.django_db


def _address(world: World, role: str) -> str:
    client = world.client(role)
    page = reverse("round-calendar", args=[world.slug])
    assert client.post(page).status_code == 302
    shown = client.get(page).content.decode()
    found: str = shown.split('class="code">')[1].split("<")[0]
    return found.removeprefix("http://127.0.0.1:8000")


def _events(address: str) -> dict[str, tuple[date, str]]:
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    read: Any = Calendar.from_ical(answer.content)
    assert read["VERSION"] == "2.0"
    events = read.walk("VEVENT")
    found = {
        str(one["UID"]): (one["DTSTART"].dt, str(one["SUMMARY"])) for one in events
    }
    assert len(found) == len(events)
    assert all(
        one["DTEND"].dt - one["DTSTART"].dt == timedelta(days=1)
        and "DTSTAMP" in one
        and str(one["URL"]).startswith("http")
        for one in events
    )
    return found


def _walk(world: World, on: date, *, way: str = "collected") -> None:
    made = Round.objects.create(
        farm_group=world.group, block=world.block, collected_on=on
    )
    Bag.objects.create(
        farm_group=world.group,
        round=made,
        code="1",
        tissue="leaf",
        position="low",
        way=way,
    )


@pytest.fixture
def plan(world: World) -> RoundPlan:
    with stating(world.group.pk):
        made: RoundPlan = give_plan(world)["plan"]
    return made


@time_machine.travel(NOW)
def test_a_plan_is_an_event_that_moves_and_keeps_its_uid(
    world: World, plan: RoundPlan
) -> None:
    address = _address(world, "grower")
    (uid, (on, summary)), *others = _events(address).items()
    assert others == []
    assert on == plan.planned_on
    assert world.block.name in summary
    assert "12 leaves" in summary
    with stating(world.group.pk):
        member = member_for(world.people["grower"], world.slug)
        put_off(member, plan, to=TODAY + timedelta(days=9))
    assert _events(address)[uid][0] == TODAY + timedelta(days=9)
    with stating(world.group.pk):
        withdraw_plan(member_for(world.people["grower"], world.slug), plan, now=NOW)
    assert _events(address) == {}


@time_machine.travel(NOW)
def test_the_interval_makes_an_event_until_a_plan_takes_over(world: World) -> None:
    with stating(world.group.pk):
        _walk(world, TODAY - timedelta(days=3))
        set_habits(
            member_for(world.people["coordinator"], world.slug),
            block=None,
            interval_days=14,
            now=NOW,
        )
    address = _address(world, "consultant")
    ((uid, (on, summary)),) = _events(address).items()
    assert uid == f"due-{world.block.uuid}@washboard.invalid"
    assert on == TODAY + timedelta(days=11)
    assert summary.startswith("Round due")
    with stating(world.group.pk):
        made = give_plan(world)["plan"]
    assert set(_events(address)) == {f"plan-{made.uuid}@washboard.invalid"}


@time_machine.travel(NOW + timedelta(days=8))
def test_a_walked_plan_gives_way_to_the_next_interval(
    world: World, plan: RoundPlan
) -> None:
    address = _address(world, "lab")
    with stating(world.group.pk):
        _walk(world, plan.planned_on, way="planned")
    assert set(_events(address)) == {f"plan-{plan.uuid}@washboard.invalid"}
    with stating(world.group.pk):
        Bag.objects.filter(farm_group=world.group).update(way="received")
    ((uid, (on, _)),) = _events(address).items()
    assert uid.startswith("due-")
    assert on == plan.planned_on + timedelta(days=14)


@time_machine.travel(NOW)
def test_a_member_reads_of_their_own_farms_only(world: World, plan: RoundPlan) -> None:
    with stating(world.group.pk):
        world.blocks.reverse()
        give_plan(world)
        world.blocks.reverse()
    assert len(_events(_address(world, "consultant"))) == 2
    assert len(_events(_address(world, "grower"))) == 1


@time_machine.travel(NOW)
def test_an_address_ends_with_a_new_one_and_with_the_membership(
    world: World, plan: RoundPlan
) -> None:
    first = _address(world, "grower")
    second = _address(world, "grower")
    assert Client().get(first).status_code == 404
    assert Client().get(second).status_code == 200
    with stating(world.group.pk):
        Membership.objects.filter(user=world.people["grower"]).update(valid_until=TODAY)
    assert Client().get(second).status_code == 404
    third = _address(world, "lab")
    User.objects.filter(pk=world.people["lab"].pk).update(is_active=False)
    assert Client().get(third).status_code == 404


@pytest.mark.parametrize("token", ["x", "a:b:c", "%00", "..", "WyJ4Il0:1t:abc"])
def test_made_up_addresses_are_not_found(db: None, token: str) -> None:
    assert Client().get(f"/calendar/{token}.ics").status_code == 404
