"""Programs get the same rows as pages, with units, and nobody else's."""

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import Density
from tests.builders import Role, World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db

ROLES = [role.value for role in Role]


def _blocks(world: World) -> str:
    return f"/api/g/{world.slug}/blocks/"


def _densities(world: World, block: int = 0) -> str:
    return f"{_blocks(world)}{world.blocks[block].uuid}/densities/"


@pytest.fixture
def counted(desk: Desk, world: World) -> World:
    rows = [bag_row(bag=number, rust_mites=number) for number in range(6)]
    rows += [bag_row(bag=number, collected_on="2026-08-01") for number in range(3)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(world.group.pk)
    return world


@pytest.mark.parametrize("role", ROLES)
def test_each_role_sees_the_blocks_of_its_farms(world: World, role: str) -> None:
    rows = world.client(role).get(_blocks(world)).json()["results"]
    expected = world.blocks[:1] if role == Role.GROWER else world.blocks
    assert {row["uuid"] for row in rows} == {str(block.uuid) for block in expected}
    assert all(5_000 < row["area_m2"] < 20_000 for row in rows)


@pytest.mark.parametrize("role", ROLES)
def test_a_density_comes_with_interval_unit_method_and_digest(
    counted: World, role: str
) -> None:
    answer = counted.client(role).get(
        _densities(counted), {"organism": "rust_mites", "since": "2026-08-10"}
    )
    (row,) = answer.json()["results"]
    with stating(counted.group.pk):
        stored = Density.objects.get(uuid=row["uuid"])
    assert row["unit"] == "animals per leaf"
    assert row["interval_probability"] == 0.95
    assert row["low_per_unit"] < row["median_per_unit"] < row["high_per_unit"]
    assert row["median_per_unit"] == stored.median
    assert (row["method"], row["inputs_digest"]) == (
        "averaged",
        stored.inputs_digest,
    )
    assert answer.headers["Cache-Control"] == "private, no-store"


def test_newest_rounds_come_first_and_pages_follow_each_other(counted: World) -> None:
    client = counted.client("consultant")
    first = client.get(_densities(counted), {"page_size": 4}).json()
    second = client.get(first["next"]).json()
    days = [row["collected_on"] for row in first["results"] + second["results"]]
    assert days == ["2026-08-14"] * 3 + ["2026-08-01"] * 3


def test_another_groups_block_looks_missing(
    counted: World, make_world: Callable[..., World]
) -> None:
    other = make_world("Canary ")
    client = other.client("coordinator")
    assert client.get(_densities(counted)).status_code == 404
    assert client.get(_blocks(counted)).status_code == 404
    foreign = f"{_blocks(other)}{counted.block.uuid}/densities/"
    assert client.get(foreign).status_code == 404


def test_a_grower_does_not_see_another_farms_block(counted: World) -> None:
    answer = counted.client("grower").get(_densities(counted, block=1))
    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/problem+json"


def test_nobody_unknown_gets_anything(counted: World, stranger: Client) -> None:
    assert stranger.get(_densities(counted)).status_code == 404
    signed_out = Client().get(_densities(counted))
    assert signed_out.status_code == 401
    assert signed_out.json()["type"] == "urn:washboard:problem:signed-out"
    assert signed_out.headers["WWW-Authenticate"].startswith("Session")


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"since": "yesterday"}, "since"),
        ({"tissue": "root"}, "tissue"),
        ({"until": "2026-02-31"}, "until"),
        ({"organism": "x" * 100}, "organism"),
    ],
)
def test_a_question_that_makes_no_sense_is_answered_in_words(
    counted: World, query: dict[str, str], field: str
) -> None:
    answer = counted.client("lab").get(_densities(counted), query)
    assert answer.status_code == 400
    assert list(answer.json()["errors"]) == [field]


@pytest.mark.parametrize("page", ["0", "99", "last but one"])
def test_a_page_that_does_not_exist_is_not_found(counted: World, page: str) -> None:
    answer = counted.client("lab").get(_blocks(counted), {"page": page})
    assert answer.status_code == 404


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_nothing_can_be_written(counted: World, method: str) -> None:
    call = getattr(counted.client("coordinator"), method)
    assert call(_densities(counted)).status_code == 405


def test_lists_cost_as_many_queries_for_many_rows(
    counted: World, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    client = counted.client("consultant")
    # Session, person, savepoints, two settings, membership, count, page.
    with django_assert_max_num_queries(12):
        assert client.get(_blocks(counted)).json()["count"] == 2
    with django_assert_max_num_queries(12):
        assert client.get(_densities(counted)).json()["count"] == 6
