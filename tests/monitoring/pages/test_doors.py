"""Who sees which page of blocks, rounds and figures, and at what cost."""

from collections.abc import Callable

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.models import Density, Ratio, Round
from tests.builders import Role, World, add_block
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import Season, set_mite_threshold, settle

pytestmark = pytest.mark.django_db

ROLES = [role.value for role in Role]
PAGES = ["group", "map", "block", "round", "density", "ratio"]


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("page", PAGES)
def test_every_member_sees_the_pages_of_their_farms(
    season: Season, page: str, role: str
) -> None:
    world = season.world
    answer = world.client(role).get(world.url(season.path()[page]))
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize("page", PAGES)
def test_another_group_looks_missing(
    season: Season, page: str, make_world: Callable[..., World], stranger: Client
) -> None:
    path, other = season.path()[page], make_world("Canary ")
    outsider = other.client("coordinator")
    assert outsider.get(season.world.url(path)).status_code == 404
    assert stranger.get(season.world.url(path)).status_code == 404
    if page not in {"group", "map"}:
        # The page's own key, under the outsider's own group.
        assert outsider.get(other.url(path)).status_code == 404
    signed_out = Client().get(season.world.url(path))
    assert signed_out.status_code == 302
    assert signed_out.headers["Location"].startswith("/accounts/login/")


def test_a_grower_does_not_see_another_farm(season: Season) -> None:
    world = season.world
    desk = Desk(world)
    rows = [bag_row(bag=i, block=world.blocks[1].name) for i in range(3)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    with stating(world.group.pk):
        far = {"round__block": world.blocks[1]}
        paths = [
            f"blocks/{world.blocks[1].uuid}/",
            f"rounds/{Round.objects.get(block=world.blocks[1]).uuid}/",
            f"densities/{Density.objects.filter(**far)[0].uuid}/",
            f"ratios/{Ratio.objects.filter(**far)[0].uuid}/",
        ]
    grower, consultant = world.client("grower"), world.client("consultant")
    for path in paths:
        assert grower.get(world.url(path)).status_code == 404
        assert consultant.get(world.url(path)).status_code == 200
    for path in ("", "map/"):
        content = grower.get(world.url(path)).content.decode()
        assert world.blocks[0].name in content
        assert world.blocks[1].name not in content
        assert world.farms[1].name not in content


@pytest.mark.parametrize("page", ["group", "map", "block", "round", "density"])
def test_a_page_costs_as_many_queries_for_many_rows(
    season: Season, page: str, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Of these, 8 find the person and the group, and open and close the door."""
    world = season.world
    set_mite_threshold(world, 100)
    for number in range(5):
        name = f"More {number}"
        add_block(world.farms[0], name, west=11.0 + number / 100)
        desk = Desk(world)
        days = ("2026-08-02", "2026-08-09")
        rows = [bag_row(block=name, collected_on=day) for day in days]
        desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    url = world.url(season.path()[page])
    client = world.client("consultant")
    with django_assert_max_num_queries(20):
        assert client.get(url).status_code == 200


@pytest.mark.parametrize(
    "query",
    [
        {"organism": "none", "tissue": "root", "on": "2026-02-31"},
        {"on": "lately", "farm": "' OR 1=1", "order": "__class__"},
        {"on": "0001-01-01"},
        {"on": "9999-12-31", "organism": "\x00"},
        {"farm": "00000000-0000-0000-0000-000000000000"},
    ],
)
@pytest.mark.parametrize("path", ["", "map/"])
def test_odd_wishes_are_taken_as_usual_ones(
    season: Season, path: str, query: dict[str, str]
) -> None:
    client = season.world.client("grower")
    assert client.get(season.world.url(path), query).status_code == 200


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
@pytest.mark.parametrize("page", PAGES)
def test_pages_are_only_read(season: Season, page: str, method: str) -> None:
    call = getattr(season.world.client("coordinator"), method)
    assert call(season.world.url(season.path()[page])).status_code == 405
