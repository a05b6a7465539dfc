"""Programs get the alerts of pages, with their figures and units."""

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from tests.alerts.conftest import HIGH, judge, publish, set_mite_threshold
from tests.builders import Role, World

pytestmark = pytest.mark.django_db
ROLES = [role.value for role in Role]


def url(world: World) -> str:
    return f"/api/g/{world.slug}/alerts/"


@pytest.fixture
def raised(world: World) -> World:
    """An alert stands on each of the two blocks."""
    set_mite_threshold(world)
    for block in world.blocks:
        publish(world, HIGH, block=block.name)
    assert judge(world) == 2
    return world


@pytest.mark.parametrize("role", ROLES)
def test_each_role_sees_the_alerts_of_its_farms(raised: World, role: str) -> None:
    answer = raised.client(role).get(url(raised))
    assert answer.headers["Cache-Control"] == "private, no-store"
    rows = answer.json()["results"]
    expected = raised.blocks[:1] if role == Role.GROWER else raised.blocks
    assert {row["block_uuid"] for row in rows} == {str(one.uuid) for one in expected}


def test_an_alert_comes_with_figures_units_and_threshold(raised: World) -> None:
    row = raised.client("grower").get(url(raised)).json()["results"][0]
    assert (row["state"], row["unit"]) == ("standing", "animals per leaf")
    assert (row["organism"], row["prey"]) == ("rust_mites", None)
    (step,) = row["history"]
    assert step["kind"] == "raised"
    assert step["low"] < step["median"] < step["high"]
    assert step["chance"] > 0.99
    assert (step["threshold"], step["clear_level"]) == (50, 35)
    assert (step["collected_on"], step["bags"]) == ("2026-08-14", 6)


@pytest.mark.parametrize(
    ("query", "number"),
    [({}, 2), ({"state": "standing"}, 2), ({"state": "ended"}, 0), ({"page": 1}, 2)],
)
def test_alerts_are_asked_for_by_state(
    raised: World, query: dict[str, str], number: int
) -> None:
    answer = raised.client("consultant").get(url(raised), query)
    assert answer.json()["count"] == number


def test_alerts_are_asked_for_by_block(raised: World) -> None:
    client = raised.client("consultant")
    rows = client.get(url(raised), {"block": str(raised.block.uuid)}).json()["results"]
    assert [row["block"] for row in rows] == [raised.block.name]


@pytest.mark.parametrize(
    ("query", "field"),
    [({"state": "loud"}, "state"), ({"block": "7"}, "block")],
)
def test_a_wrong_question_is_answered_as_a_problem(
    raised: World, query: dict[str, str], field: str
) -> None:
    answer = raised.client("consultant").get(url(raised), query)
    assert answer.status_code == 400
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert field in answer.json()["errors"]


def test_strangers_and_other_groups_see_nothing(
    raised: World, make_world: Callable[..., World], stranger: Client
) -> None:
    other = make_world("Canary ")
    assert other.client("coordinator").get(url(raised)).status_code == 404
    assert stranger.get(url(raised)).status_code == 404
    assert Client().get(url(raised)).status_code == 401


@pytest.mark.parametrize("number", [1, 2])
def test_the_list_costs_the_same_for_any_number(
    world: World, number: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    set_mite_threshold(world)
    for block in world.blocks[:number]:
        publish(world, HIGH, block=block.name)
    judge(world)
    client = world.client("consultant")
    with django_assert_num_queries(10):
        answer = client.get(url(world))
    assert answer.json()["count"] == number
