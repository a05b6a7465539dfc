"""The site's figures of a reading, as the bench fetches them."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.estimation import expand_cells
from monitoring.models import Bag, Density, Recovery
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bench.benches import Bench, some_bags

pytestmark = pytest.mark.django_db


def _figure(world: World, key: str) -> dict[str, Any]:
    answer = world.client("lab").get(world.url(f"bench/readings/{key}/figure/"))
    assert answer.status_code == 200
    found: dict[str, Any] = answer.json()
    return found


def _fix_recovery(world: World, share: float) -> None:
    with stating(world.group.pk):
        Recovery.objects.filter(farm_group=world.group).update(
            alpha=None, beta=None, fixed_value=share
        )


def test_whole_dish_over_the_recovery_is_what_lay_on_the_leaf(
    bench: Bench, bag: Bag, world: World
) -> None:
    _fix_recovery(world, 0.8)
    reading = bench.count(bag, 400)
    bench.send()
    figure = _figure(world, reading)
    assert (figure["state"], figure["provisional"]) == ("published", False)
    (mites,) = figure["organisms"]
    assert mites["id"] == bench.key("rust_mites")
    assert (mites["dish_total"], mites["low"], mites["high"]) == (400, 400, 400)
    assert mites["per_unit"] == pytest.approx(500)
    # 500 times exp of 1.96 times the root of 0.2 / 400.
    assert mites["per_unit_low"] == pytest.approx(478.56, abs=0.01)
    assert mites["per_unit_high"] == pytest.approx(522.40, abs=0.01)
    assert mites["words"] == (
        "Rust mites: 400 in the whole dish; 500 per leaf (480 to 520)."
    )


def test_units_share_the_animals(bench: Bench, bag: Bag, world: World) -> None:
    _fix_recovery(world, 0.8)
    with stating(world.group.pk):
        Bag.objects.filter(pk=bag.pk).update(units=5)
    reading = bench.count(bag, 400)
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    assert mites["per_unit"] == pytest.approx(100)


def test_cells_widen_what_the_recovery_leaves_open(
    bench: Bench, bag: Bag, world: World
) -> None:
    counts = [9, 12, 7, 10, 14, 8, 11, 9, 13, 10, 10, 8, 12, 9, 11, 10, 7, 13, 9, 10]
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.act("call", reading, cells=20)
    bench.read_cells(reading, "rust_mites", counts)
    bench.finish(reading, rust_mites=sum(counts))
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    (tally,) = bench.tallies(reading)
    assert mites["dish_total"] == tally.animals_in_dish
    assert mites["low"] < mites["dish_total"] < mites["high"]
    dish = mites["high"] / mites["low"]
    assert mites["per_unit_high"] / mites["per_unit_low"] > dish
    assert "about" in mites["words"]


def test_round_is_estimated_as_it_will_be_stored(bench: Bench, world: World) -> None:
    bags = some_bags(world, 4)
    keys = [bench.count(one, 10 + 3 * place) for place, one in enumerate(bags[:3])]
    bench.send()
    (of_round,) = _figure(world, keys[-1])["round"]
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(organism__code="rust_mites", is_current=True)
    assert of_round["organism"] == bench.key("rust_mites")
    assert (of_round["median"], of_round["low"], of_round["high"]) == (
        density.median,
        density.low,
        density.high,
    )
    assert (of_round["bags_used"], of_round["bags_missing"]) == (3, 1)
    assert "from 3 bags, 1 waiting." in of_round["words"]


USUAL = [8, 12, 10, 9, 11, 10, 13, 9, 10, 11, 8, 12]


def _publish_history(desk: Desk, day: str = "2026-07-20") -> None:
    rows = [
        bag_row(bag=number, collected_on=day, washed_on="", rust_mites=mites)
        for number, mites in enumerate(USUAL)
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))


@pytest.mark.parametrize(
    ("mites", "side"), [(10, ""), (900, "above the 12 bags"), (0, "below the 12 bags")]
)
def test_far_from_the_blocks_history_it_asks_for_a_recount(
    bench: Bench, bag: Bag, world: World, desk: Desk, *, mites: int, side: str
) -> None:
    _publish_history(desk)
    reading = bench.count(bag, mites)
    bench.send()
    figure = _figure(world, reading)
    assert figure["state"] == "published"
    words = figure["out_of_range"]
    assert bool(words) == bool(side)
    assert all(side in one and "without seeing this count" in one for one in words)


def test_a_short_history_asks_for_nothing(
    bench: Bench, bag: Bag, world: World, desk: Desk
) -> None:
    row = bag_row(bag=1, collected_on="2026-07-20", washed_on="", rust_mites=3)
    desk.publish(desk.upload(bag_sheet(row)))
    reading = bench.count(bag, 5000)
    bench.send()
    assert _figure(world, reading)["out_of_range"] == []


def test_one_dish_of_two_does_not_tell_of_the_leaf(
    bench: Bench, bag: Bag, world: World
) -> None:
    bench.count(bag, 4, dish_number=2)
    reading = bench.count(bag, 5)
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    assert (mites["dish_total"], mites["per_unit"]) == (5, None)
    assert "the wash fills 2 dishes" in mites["words"]


def test_uncountable_none_and_rows_have_their_words(
    bench: Bench, bag: Bag, world: World
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells", "thrips": "whole"})
    bench.act("uncountable", reading, organism=bench.key("rust_mites"))
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    mites, thrips = _figure(world, reading)["organisms"]
    assert mites["words"] == "Rust mites: uncountable."
    assert (mites["dish_total"], mites["per_unit_high"]) == (None, None)
    assert (thrips["dish_total"], thrips["per_unit"], thrips["per_unit_low"]) == (
        0,
        0,
        0,
    )
    assert thrips["per_unit_high"] > 3.6
    (words,) = [
        one["words"]
        for one in _figure(world, reading)["round"]
        if one["organism"] == bench.key("rust_mites")
    ]
    assert words == "Rust mites: no figure of the round yet."


def test_a_cell_alone_is_told_at_best(bench: Bench, bag: Bag, world: World) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [4])
    bench.finish(reading, rust_mites=4)
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    assert "at best" in mites["words"]
    assert mites["low"] < mites["dish_total"] < mites["high"]


def test_cells_that_were_not_two_stages_go_by_their_area(
    bench: Bench, bag: Bag, world: World
) -> None:
    counts = [4, 9, 2, 7, 5]
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", counts)
    bench.finish(reading, "fire drill", rust_mites=sum(counts))
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    grid = bench.grid
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2, strict=True))
    core = expand_cells(
        counts,
        [areas[name] for name in bench.order(5)],
        dish_area_mm2=grid.area_mm2,
        cells_in_dish=len(areas),
    )
    assert mites["dish_total"] == pytest.approx(core.total)
    assert (mites["low"], mites["high"]) == pytest.approx((core.low, core.high))


def test_cells_without_an_animal_are_told_at_best(
    bench: Bench, bag: Bag, world: World
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [0] * 12)
    bench.finish(reading, "fire drill")
    bench.send()
    (mites,) = _figure(world, reading)["organisms"]
    assert (mites["dish_total"], mites["low"], mites["per_unit"]) == (0, 0, 0)
    # 3.689 animals in the part looked at would still be seen as none in 1 of 40.
    assert mites["high"] > 3.689 * 11
    assert "at best 0 to" in mites["words"]


@pytest.mark.parametrize("kind", ["open", "apart"])
def test_what_is_not_finished_or_not_placed_has_no_figures(
    bench: Bench, bag: Bag, world: World, kind: str
) -> None:
    reading = bench.start(bag) if kind == "open" else bench.count(str(uuid4()), 5)
    bench.send()
    figure = _figure(world, reading)
    assert (figure["organisms"], figure["round"]) == ([], [])


def test_a_reading_that_is_not_here_is_not_found(world: World) -> None:
    answer = world.client("lab").get(world.url(f"bench/readings/{uuid4()}/figure/"))
    assert answer.status_code == 404


def test_figures_cost_the_same_however_long_the_history(
    bench: Bench, bag: Bag, world: World, desk: Desk
) -> None:
    reading = bench.count(bag, 5)
    bench.send()
    client, numbers = world.client("lab"), []
    url = world.url(f"bench/readings/{reading}/figure/")
    for day in ("2026-07-20", "2026-07-27"):
        _publish_history(desk, day)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(url).status_code == 200
        numbers.append(len(queries))
    assert numbers[0] == numbers[1]
    assert numbers[0] <= 17


def test_a_dish_of_which_all_cells_were_read_is_told_without_an_interval(
    bench: Bench, bag: Bag
) -> None:
    cells = len(bench.grid.cell_names)
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [1] * 10 + [0] * (cells - 10))
    bench.act("call", reading, cells=cells)
    bench.finish(reading, rust_mites=10)
    bench.send()
    (line,) = _figure(bench.world, reading)["organisms"]
    assert line["words"].startswith("Rust mites: 10 in the dish;")
