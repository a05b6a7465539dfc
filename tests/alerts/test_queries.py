"""What holds and what stands on blocks, at a cost that does not grow with them."""

import pytest
from django.db import transaction
from pytest_django import DjangoAssertNumQueries

from alerts.services.lifecycle import judge_blocks
from alerts.services.thresholds import Values, Watched, set_threshold
from blocks.models import Block
from blocks.tenancy import stating
from monitoring.models import Organism
from monitoring.thresholds import standing_alerts, thresholds_in_force
from tests.alerts.conftest import (
    HIGH,
    NOW,
    judge,
    member,
    publish,
    set_mite_threshold,
)
from tests.builders import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def raised(world: World) -> World:
    set_mite_threshold(world)
    for block in world.blocks:
        publish(world, HIGH, block=block.name)
    assert judge(world) == 2
    return world


def set_on(world: World, level: float, *, block: Block | None = None,
           farm: int | None = None) -> None:  # fmt: skip
    with transaction.atomic():
        who = member(world)
        mites = Organism.objects.get(code="rust_mites")
        where = None if farm is None else world.farms[farm]
        set_threshold(
            who,
            Watched(tissue="leaf", organism=mites, farm=where, block=block),
            Values(level=level),
            reason="",
            now=NOW,
        )


@pytest.mark.parametrize("number", [1, 2])
def test_judging_where_nothing_changes_costs_the_same_for_any_number(
    raised: World, number: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    keys = [block.pk for block in raised.blocks[:number]]
    with stating(raised.group.pk), django_assert_num_queries(7):
        assert judge_blocks(raised.group.pk, keys, now=NOW) == []


@pytest.mark.parametrize("number", [1, 2])
def test_what_pages_ask_for_costs_the_same_for_any_number(
    raised: World, number: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    keys = [block.pk for block in raised.blocks[:number]]
    with stating(raised.group.pk):
        with django_assert_num_queries(2):
            assert len(thresholds_in_force(raised.group.pk, keys)) == number
        with django_assert_num_queries(2):
            assert len(standing_alerts(raised.group.pk, keys)) == number


def test_block_wins_over_farm_and_farm_over_group(world: World) -> None:
    set_on(world, 10)
    set_on(world, 20, farm=0)
    set_on(world, 30, block=world.block)
    set_on(world, 40, farm=1)
    with stating(world.group.pk):
        keys = [block.pk for block in world.blocks]
        found = {one.block_id: one for one in thresholds_in_force(world.group.pk, keys)}
    first, second = (found[key] for key in keys)
    assert (first.level, first.scope) == (30, "block")
    assert (second.level, second.scope) == (40, "farm")
    assert first.clear_level == pytest.approx(21)


def test_a_standing_alert_says_why(raised: World) -> None:
    with stating(raised.group.pk):
        (alert,) = standing_alerts(raised.group.pk, [raised.block.pk])
    assert alert.block_id == raised.block.pk
    assert "that this is above the threshold of 50 per leaf" in alert.sentence


def test_nothing_set_holds_nowhere(world: World) -> None:
    with stating(world.group.pk):
        assert thresholds_in_force(world.group.pk, [world.block.pk]) == []
        assert standing_alerts(world.group.pk, [world.block.pk]) == []
