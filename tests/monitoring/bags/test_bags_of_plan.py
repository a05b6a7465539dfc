"""A plan's bags are made in the order of its walk, one for each of its vines."""

from typing import Any

import pytest
import time_machine
from django.urls import reverse
from django.utils import timezone

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.models import Bag, Round, RoundPlan, SamplePoint
from monitoring.services.plans import withdraw_plan
from tests.builders import World
from tests.tenancy.plan_world import NOW, give_plan

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_the_day() -> Any:
    with time_machine.travel(NOW):
        yield


def _plan(world: World) -> RoundPlan:
    with stating(world.group.pk):
        give_plan(world)
        return RoundPlan.objects.get(farm_group=world.group)


def _make(world: World, plan: RoundPlan, role: str = "lab") -> Any:
    address = reverse("bags-of-plan", args=[world.slug, plan.uuid])
    return world.client(role).post(address)


def _bags(world: World) -> list[Bag]:
    with stating(world.group.pk):
        bags = Bag.objects.filter(farm_group=world.group).select_related("round")
        return sorted(bags, key=lambda one: int(one.code))


def test_each_vine_gets_a_labelled_bag_in_the_order_of_the_walk(world: World) -> None:
    plan = _plan(world)
    answer = _make(world, plan)
    bags = _bags(world)
    with stating(world.group.pk):
        points = list(SamplePoint.objects.filter(plan=plan).order_by("number"))
    assert [one.position for one in bags] == [one.position for one in points]
    assert [one.point for one in bags] == [one.point for one in points]
    assert [one.code for one in bags] == [str(one.number) for one in points]
    assert {one.way for one in bags} == {Bag.Way.PLANNED}
    assert all(one.label for one in bags)
    of_round = bags[0].round
    assert (of_round.block_id, of_round.collected_on) == (
        plan.block_id,
        plan.planned_on,
    )
    labels = reverse("labels", args=[world.slug, of_round.uuid])
    assert answer.headers["Location"] == labels
    page = world.client("lab").get(reverse("plan", args=[world.slug, plan.uuid]))
    assert labels in page.content.decode()
    assert "Make its bags" not in page.content.decode()


def test_a_second_time_makes_none_and_says_why(world: World) -> None:
    plan = _plan(world)
    _make(world, plan)
    before = len(_bags(world))
    answer = world.client("coordinator").post(
        reverse("bags-of-plan", args=[world.slug, plan.uuid]), follow=True
    )
    assert "has bags of this tissue already" in answer.content.decode()
    assert len(_bags(world)) == before


def test_a_withdrawn_plan_has_no_bags(world: World) -> None:
    plan = _plan(world)
    with stating(world.group.pk):
        member = member_for(world.people["coordinator"], world.group.slug)
        withdraw_plan(member, plan, now=timezone.now())
    _make(world, plan)
    with stating(world.group.pk):
        assert not Round.objects.filter(farm_group=world.group).exists()


@pytest.mark.parametrize("role", ["grower", "consultant"])
def test_those_who_do_not_count_make_none(world: World, role: str) -> None:
    plan = _plan(world)
    assert _make(world, plan, role).status_code in {403, 404}
    assert _bags(world) == []
    page = world.client(role).get(reverse("plan", args=[world.slug, plan.uuid]))
    assert "Make its bags" not in page.content.decode()
