"""The pages on which a person decides about readings that wait."""

import re
from typing import Any
from uuid import uuid4

import pytest

from blocks.tenancy import stating
from monitoring.estimation import cell_order
from monitoring.models import Bag, Dish, RoundChange, SymptomScore, Tally
from monitoring.pages.dish_cells_page import grid_of
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bench.benches import DAY, Bench, page_of, some_bags

pytestmark = pytest.mark.django_db
CONFLICT, UNPROCESSABLE, FORBIDDEN = 409, 422, 403


def _decide(
    world: World, key: str, choice: str, *, role: str = "lab", **fields: Any
) -> Any:
    page = page_of(world, key, role)
    found = re.search(r'name="seen" value="([^"]*)"', page)
    seen = found[1].replace("&amp;", "&") if found else ""
    return world.client(role).post(
        world.url(f"bench/todo/{key}/"),
        {"choice": choice, "why": "", "seen": seen} | fields,
    )


def _two(bench: Bench, bag: Bag, world: World) -> tuple[str, str]:
    """Publish a first reading, and let a second one wait."""
    other = Bench(world, role="coordinator")
    first, second = bench.count(bag, 100), other.count(bag, 130)
    bench.send()
    other.send()
    return first, second


def _chosen(world: World) -> list[tuple[int | None, int, bool]]:
    with stating(world.group.pk):
        rows = Tally.objects.filter(state="published").order_by("reading")
        return [(row.count, row.reading, row.chosen) for row in rows]


def test_kept_as_a_recount_it_stands_beside_and_makes_no_figure(
    bench: Bench, bag: Bag, world: World
) -> None:
    _, second = _two(bench, bag, world)
    assert _decide(world, second, "recount").status_code == 302
    assert _chosen(world) == [(100, 1, True), (130, 2, False)]
    text = page_of(world, second)
    assert "kept as a recount" in text
    # Its agreement with the first stays on its page.
    assert "+26 %, z +2.0" in text


def test_used_instead_it_makes_the_figures_and_the_other_is_kept(
    bench: Bench, bag: Bag, world: World
) -> None:
    _, second = _two(bench, bag, world)
    with stating(world.group.pk):
        before = RoundChange.objects.count()
    assert _decide(world, second, "instead", role="coordinator").status_code == (
        UNPROCESSABLE
    )
    answer = _decide(
        world, second, "instead", role="coordinator", why="the first was in a hurry"
    )
    assert answer.status_code == 302
    assert _chosen(world) == [(100, 1, False), (130, 2, True)]
    (tally,) = bench.tallies(second)
    assert tally.reason == "the first was in a hurry"
    reading = bench.reading(second)
    assert reading.decided_by == world.people["coordinator"]
    with stating(world.group.pk):
        assert RoundChange.objects.count() > before


def test_only_the_coordinator_uses_a_reading_instead(
    bench: Bench, bag: Bag, world: World
) -> None:
    _, second = _two(bench, bag, world)
    answer = _decide(world, second, "instead", why="mine is better")
    assert answer.status_code == UNPROCESSABLE
    assert "Use this one instead" not in page_of(world, second)
    assert _chosen(world) == [(100, 1, True)]


def test_a_recount_can_be_chosen_later(bench: Bench, bag: Bag, world: World) -> None:
    first, second = _two(bench, bag, world)
    _decide(world, second, "recount")
    assert "Make the figures with this reading" not in page_of(world, second)
    answer = _decide(
        world, second, "choose", role="coordinator", why="looked at the dish again"
    )
    assert answer.status_code == 302
    assert _chosen(world) == [(100, 1, False), (130, 2, True)]
    assert "beside the one that figures are made with" in page_of(world, first)
    assert "chosen for the figures" in page_of(world, second)


def test_set_aside_with_a_reason_nothing_of_it_counts(
    bench: Bench, bag: Bag, world: World
) -> None:
    _, second = _two(bench, bag, world)
    assert _decide(world, second, "set_aside").status_code == UNPROCESSABLE
    assert _decide(world, second, "set_aside", why="wrong bag").status_code == 302
    assert _chosen(world) == [(100, 1, True)]
    assert bench.reading(second).state == "set_aside"
    assert "Set aside by" in page_of(world, second)


def test_set_aside_by_mistake_it_is_taken_up_and_judged_again(
    bench: Bench, bag: Bag, world: World
) -> None:
    _, second = _two(bench, bag, world)
    _decide(world, second, "set_aside", why="wrong bag")
    assert _decide(world, second, "take_up").status_code == UNPROCESSABLE
    assert _decide(world, second, "take_up", why="right bag").status_code == 302
    assert bench.reading(second).told["doubts"] == ["already-counted"]
    _decide(world, second, "recount")
    text = page_of(world, second)
    for words in ("set aside (“wrong bag”)", "taken up again (“right bag”)"):
        assert words in text
    assert _chosen(world) == [(100, 1, True), (130, 2, False)]


def test_n19_a_reading_of_a_device_that_is_gone_is_set_aside_and_taken_up(
    bench: Bench, bag: Bag, world: World
) -> None:
    """Its last events come after all: nothing was lost meanwhile."""
    reading = bench.count(bag, 5)
    end = bench.unsent.pop()
    bench.send()
    _decide(world, reading, "set_aside", why="the tablet is lost")
    assert bench.reading(reading).state == "set_aside"
    bench.send([end])
    assert bench.reading(reading).state == "set_aside"
    _decide(world, reading, "take_up", why="the tablet was found")
    assert bench.reading(reading).state == "published"
    assert [one.count for one in bench.tallies(reading)] == [5]


def test_the_second_of_two_people_is_told(bench: Bench, bag: Bag, world: World) -> None:
    _, second = _two(bench, bag, world)
    seen = re.search(r'name="seen" value="([^"]*)"', page_of(world, second))
    assert seen
    _decide(world, second, "recount", role="coordinator")
    answer = world.client("lab").post(
        world.url(f"bench/todo/{second}/"),
        {"choice": "set_aside", "why": "wrong bag", "seen": seen[1]},
    )
    assert answer.status_code == CONFLICT
    text = answer.content.decode()
    assert f"{world.people['coordinator'].name} decided about this reading" in text
    assert "it is published now" in text
    assert bench.reading(second).state == "published"


def test_what_is_published_while_the_page_is_open_is_told(
    bench: Bench, bag: Bag, world: World, desk: Desk
) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=5)
    bench.send()
    row = bag_row(bag=bag.code, collected_on=DAY, washed_on="", symptoms="",
                  rust_mites=9, predatory_mites="", thrips="")  # fmt: skip
    desk.publish(desk.upload(bag_sheet(row)))
    answer = _decide(world, reading, "although", why="4 is right")
    assert answer.status_code == CONFLICT
    assert "Something was published for this bag" in answer.content.decode()
    assert set(bench.reading(reading).told["doubts"]) == {
        "totals-differ",
        "already-counted",
    }
    assert _decide(world, reading, "recount").status_code == 302
    assert _chosen(world) == [(9, 1, True), (4, 2, False)]


def test_published_although_the_totals_differ_it_counts_its_presses(
    bench: Bench, bag: Bag, world: World
) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=5)
    bench.send()
    assert _decide(world, reading, "although").status_code == UNPROCESSABLE
    assert _decide(world, reading, "although", why="a key stuck").status_code == 302
    assert _chosen(world) == [(4, 1, True)]


def test_published_although_rows_are_unread_it_stands_for_their_cells(
    bench: Bench, bag: Bag, world: World
) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading, but=("row 1",))
    bench.finish(reading, "a bubble", rust_mites=4)
    bench.send()
    _decide(world, reading, "although", why="none near the rim")
    (tally,) = bench.tallies(reading)
    grid = bench.grid
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    left = [name for name in areas if name.lstrip("ABCDEFGHIJKLMNO") == "1"]
    assert (tally.scope, tally.count) == ("named_cells", 4)
    assert tally.cells_counted == len(areas) - len(left)
    assert tally.proportion_counted == pytest.approx(
        1 - sum(areas[name] for name in left) / grid.area_mm2
    )
    assert {cell.count for cell in tally.cell_counts.all()} == {None}
    shown = world.client("lab").get(world.url(f"tallies/{tally.uuid}/"))
    assert shown.status_code == 200


@pytest.mark.parametrize(("stands", "score"), [("", 1), ("on", 3)])
def test_a_score_that_differs_takes_the_place_only_if_it_is_said(
    bench: Bench, bag: Bag, world: World, desk: Desk, stands: str, score: int
) -> None:
    row = bag_row(bag=bag.code, collected_on=DAY, washed_on="", symptoms=1,
                  rust_mites="", predatory_mites="", thrips="")  # fmt: skip
    desk.publish(desk.upload(bag_sheet(row)))
    reading = bench.start(bag)
    bench.act("score", reading, value=3)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    extra = {"score_stands": stands} if stands else {}
    _decide(world, reading, "although", why="seen in good light", **extra)
    with stating(world.group.pk):
        standing = SymptomScore.objects.get(bag=bag, state="published")
    assert standing.score == score
    assert [one.count for one in bench.tallies(reading)] == [0]


def test_a_reading_set_apart_is_given_its_bag_by_label_or_code(
    bench: Bench, world: World
) -> None:
    one, two = some_bags(world, 2)
    first, second = bench.count(str(uuid4()), 5), bench.count(str(uuid4()), 6)
    bench.send()
    assert (
        "set apart"
        in world.client("lab").get(world.url("bench/todo/")).content.decode()
    )
    assert _decide(world, first, "give").status_code == UNPROCESSABLE
    for odd in ("a\0b", "7" * 61):
        assert _decide(world, first, "give", bag=odd).status_code == UNPROCESSABLE
    wrong = _decide(world, first, "give", bag="no such")
    assert wrong.status_code == UNPROCESSABLE
    assert "No bag has the label or the code “no such”" in wrong.content.decode()
    assert _decide(world, first, "give", bag=one.label_code).status_code == 302
    assert _decide(world, second, "give", bag=two.code).status_code == 302
    for key, given in ((first, one), (second, two)):
        (tally,) = bench.tallies(key)
        assert tally.wash.bag_id == given.pk
    assert "given its bag or dish" in page_of(world, first)


def test_of_several_bags_with_the_code_one_is_chosen(
    bench: Bench, world: World, desk: Desk
) -> None:
    rows = [bag_row(bag="7", collected_on=day, washed_on="", rust_mites="")
            for day in ("2026-08-01", "2026-08-08")]  # fmt: skip
    desk.publish(desk.upload(bag_sheet(*rows)))
    reading = bench.count(str(uuid4()), 5)
    bench.send()
    asked = _decide(world, reading, "give", bag="7")
    assert asked.status_code == UNPROCESSABLE
    text = asked.content.decode()
    assert "Several bags have this code. Choose one." in text
    with stating(world.group.pk):
        older = Bag.objects.get(code="7", round__collected_on="2026-08-01")
    assert str(older.uuid) in text
    given = _decide(world, reading, "give", bag="7", which=str(older.uuid))
    assert given.status_code == 302
    assert bench.reading(reading).bag == older
    assert bench.reading(reading).state == "published"


def test_a_reading_given_to_a_counted_bag_waits_again(
    bench: Bench, bag: Bag, world: World
) -> None:
    bench.count(bag, 5)
    reading = bench.count(str(uuid4()), 6)
    bench.send()
    assert _decide(world, reading, "give", bag=bag.code).status_code == 302
    assert bench.reading(reading).told["doubts"] == ["already-counted"]
    _decide(world, reading, "recount")
    text = page_of(world, reading)
    assert "given its bag or dish" in text
    assert "kept as a recount" in text


def test_a_reading_of_another_dish_is_given_that(
    bench: Bench, bag: Bag, world: World
) -> None:
    with stating(world.group.pk):
        large = Dish.objects.create(
            farm_group=world.group, name="Large", inner_diameter_mm=300, pitch_mm=10
        )
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    drawn = cell_order(grid_of(large).cell_names, seed=7)[:8]
    for cell in drawn:
        bench.press(reading, "rust_mites", cell, 2)
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, rust_mites=16)
    bench.send()
    assert "not-on-dish" in bench.reading(reading).told["doubts"]
    # The page's total was of cells that are not on the dish it named.
    _decide(world, reading, "give", dish=str(large.uuid))
    (tally,) = bench.tallies(reading)
    assert (tally.dish_id, tally.cells_counted, tally.count) == (large.pk, 8, 16)


@pytest.mark.parametrize("role", ["grower", "consultant"])
def test_only_those_who_count_decide(
    bench: Bench, bag: Bag, world: World, role: str
) -> None:
    _, second = _two(bench, bag, world)
    answer = world.client(role).post(world.url(f"bench/todo/{second}/"), {})
    assert answer.status_code == FORBIDDEN


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"choice": "everything"},
        {"choice": "recount", "seen": "x" * 10_000},
        {"choice": "give", "bag": "\x00", "why": "x" * 5_000},
        {"choice": "instead", "dish": "not a key"},
        {"choice": "choose", "why": "because"},
    ],
)
def test_odd_answers_are_refused_in_words(
    bench: Bench, bag: Bag, world: World, fields: dict[str, str]
) -> None:
    _, second = _two(bench, bag, world)
    answer = world.client("coordinator").post(
        world.url(f"bench/todo/{second}/"), fields
    )
    assert answer.status_code in {CONFLICT, UNPROCESSABLE}
    assert bench.reading(second).state == "waiting"
