"""The page of symptoms and causes."""

from collections.abc import Callable
from datetime import date
from html import unescape

import numpy as np
import pytest
from django.core.cache import cache
from pytest_django import DjangoAssertNumQueries

from monitoring.symptoms.seasons import seasons_of
from tests.builders import World
from tests.desks import HEADER, Desk, bag_row, bag_sheet
from tests.monitoring.symptoms.simulated_leaves import simulate

pytestmark = pytest.mark.django_db
# Twelve of 176 cells and the mean recovery of the first beta: about a tenth of what
# is on the leaf; thrips are counted in the whole dish.
CELLS = 20


@pytest.fixture(autouse=True)
def _nothing_remembered() -> None:
    cache.clear()


def _publish(desk: Desk, causes: tuple[int, int], *, seed: int = 2) -> None:
    """Publish twelve rounds of leaves whose damage has a known cause."""
    rng = np.random.default_rng(seed)
    scores, counts, _, rounds = simulate(rng, causes, together=0.2, rounds=12)
    rows = [
        bag_row(
            bag=number,
            collected_on=f"2026-06-{1 + 2 * place:02d}",
            washed_on="",
            rust_mites=int(rust),
            rust_mites_cells=CELLS,
            thrips=int(thrips),
            symptoms=int(score),
        )
        for number, (score, (rust, thrips), place) in enumerate(
            zip(scores, counts, rounds, strict=True)
        )
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))


def _page(world: World, role: str = "grower", **query: str) -> str:
    answer = world.client(role).get(world.url("symptoms/"), query)
    assert answer.status_code == 200
    return " ".join(unescape(answer.content.decode()).split())


def test_the_cause_is_named_with_its_odds_and_a_caution(desk: Desk) -> None:
    _publish(desk, (1, 0))
    page = _page(desk.world)
    assert "Here the damage goes with rust mites." in page
    assert "the one with ten times the rust mites has" in page
    assert "of the same round and canopy position are compared" in page
    assert "no proof of a cause" in page
    assert "180 leaves of 12 rounds" in page
    assert "Thrips and scores" in page


def test_the_other_cause_is_named_as_well(desk: Desk) -> None:
    _publish(desk, (0, 1))
    assert "Here the damage goes with thrips." in _page(desk.world)


def test_few_leaves_cannot_tell_and_the_page_says_why(desk: Desk) -> None:
    rows = [bag_row(bag=number, symptoms=number % 3) for number in range(6)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    page = _page(desk.world)
    assert "These scores cannot tell which organism the damage goes with." in page
    assert "30 or more are asked for" in page
    assert "none can be given" in page


def test_without_scores_the_page_says_how_they_come(desk: Desk) -> None:
    assert "No leaf of this season has a symptom score yet" in _page(desk.world)
    desk.publish(desk.upload(bag_sheet(bag_row(symptoms=""))))
    assert "No leaf of this season has a symptom score yet" in _page(desk.world)
    assert "typed on a round's page" in _page(desk.world, "lab")


def test_leaves_without_both_counts_are_told_of(desk: Desk) -> None:
    rows = [
        f"{HEADER},units",
        bag_row(bag=1, symptoms=2, thrips="") + ",1",
        bag_row(bag=2, symptoms=2, rust_mites="uncountable") + ",1",
        bag_row(bag=3, symptoms=1) + ",2",
    ]
    desk.publish(desk.upload("\n".join(rows).encode()))
    page = _page(desk.world)
    assert "1 scored bag without both counts, 1 uncountable, 1 of several" in page
    desk.publish(desk.upload(bag_sheet(bag_row(bag=4, symptoms=1)), "b.csv"))
    page = _page(desk.world)
    assert "1 without both counts, 1 uncountable, 1 of several leaves" in page
    assert "1 leaf of 1 round" in page


def test_bags_lead_back_to_their_rounds(desk: Desk) -> None:
    _publish(desk, (1, 0))
    page = _page(desk.world)
    address = page.split("/rounds/", 1)[1].split("/", 1)[0]
    answer = desk.world.client("grower").get(desk.world.url(f"rounds/{address}/"))
    assert answer.status_code == 200


def test_a_grower_sees_own_farms_only(desk: Desk) -> None:
    other = desk.world.blocks[1].name
    rows = [
        bag_row(bag=number, block=other, symptoms=number % 3) for number in range(4)
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))
    assert other not in _page(desk.world)
    assert other in _page(desk.world, "consultant")


@pytest.mark.parametrize(
    "query",
    [
        {"season": "last", "farm": "' OR 1=1"},
        {"season": "2026-02-31", "first": "nobody", "second": "\x00"},
        {"first": "thrips", "second": "thrips"},
        {"first": "predatory_mites"},
        {"farm": "00000000-0000-0000-0000-000000000000", "season": "9999-99-99"},
    ],
)
def test_odd_wishes_are_taken_as_usual_ones(desk: Desk, query: dict[str, str]) -> None:
    _publish(desk, (1, 0))
    assert "Here the damage goes with" in _page(desk.world, **query)


def test_a_farm_and_a_season_can_be_looked_at_alone(desk: Desk) -> None:
    _publish(desk, (1, 0))
    rows = [bag_row(bag=n, collected_on="2025-07-01", washed_on="") for n in range(3)]
    desk.publish(desk.upload(bag_sheet(*rows), "old.csv"))
    page = _page(desk.world, "consultant", season="2025-07-01")
    assert "3 leaves of 1 round" in page
    other = [bag_row(bag=n, block=desk.world.blocks[1].name) for n in range(2)]
    desk.publish(desk.upload(bag_sheet(*other), "other.csv"))
    farm = str(desk.world.farms[1].uuid)
    assert "2 leaves of 1 round" in _page(desk.world, "consultant", farm=farm)


def test_a_group_without_rounds_has_a_page(make_world: Callable[..., World]) -> None:
    world = make_world()
    assert "No leaf of this season" in _page(world)


def test_many_rounds_cost_no_more_queries(
    desk: Desk, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Of these, 8 find the person and the group, and open and close the door."""
    _publish(desk, (1, 0))
    client = desk.world.client("consultant")
    with django_assert_max_num_queries(17):
        assert client.get(desk.world.url("symptoms/")).status_code == 200


def test_winters_part_seasons() -> None:
    days = [date(2025, 5, 1), date(2025, 8, 1), date(2026, 4, 20), date(2026, 5, 2)]
    assert [span.name for span in seasons_of(days)] == ["2026", "2025"]
    southern = [date(2025, 11, 1), date(2026, 2, 1)]
    assert [span.name for span in seasons_of(southern)] == ["2025/26"]
    assert seasons_of([]) == []


def test_leaves_of_two_positions_are_not_compared(desk: Desk) -> None:
    """Upper leaves have the mites and the scars; within a position nothing differs."""
    rows = [
        bag_row(
            bag=number,
            position="upper" if number % 2 else "mid",
            rust_mites=200 + number if number % 2 else number % 5,
            thrips=number % 4,
            symptoms=3 if number % 2 else 1,
        )
        for number in range(60)
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))
    page = _page(desk.world)
    assert "These scores cannot tell" in page
    assert "all score alike, and only such leaves are compared" in page
