"""From events to readings, and from finished readings to published tallies."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.estimation import two_stage_total
from monitoring.models import Bag, BagStep, BenchReading, RoundChange, SymptomScore
from monitoring.services.bags import Wanted, make_bags
from monitoring.services.bench_readings import follow
from tests.builders import World
from tests.monitoring.bench.benches import DAY, Bench

pytestmark = pytest.mark.django_db
State = BenchReading.State


def test_whole_dish_read_to_its_end_is_published(bench: Bench, bag: Bag) -> None:
    reading = bench.count(bag, 12)
    answer = bench.send()
    (told,) = answer["readings"]
    assert told["state"] == "published"
    assert (told["id"], told["bag"]) == (reading, str(bag.uuid))
    assert told["url"].endswith(f"/bench/todo/{reading}/")
    (tally,) = bench.tallies(reading)
    assert (tally.scope, tally.count, tally.outcome) == ("whole", 12, "counted")
    assert (tally.reading, tally.chosen, tally.dish_number) == (1, True, 1)
    assert (tally.analyst, tally.created_by) == (
        bench.world.people["lab"],
        bench.world.people["lab"],
    )
    assert (tally.magnification, tally.blind) == (40, False)
    assert tally.wash.number == 1
    with stating(bench.world.group.pk):
        bag.refresh_from_db()
        steps = BagStep.objects.filter(bag=bag).values_list("before", "way")
        assert list(steps)[-1] == ("planned", "counted")
        assert RoundChange.objects.filter(round=bag.round_id).exists()
    assert bag.way == "counted"


def test_none_found_is_a_count_and_an_organism_not_read_is_none(
    bench: Bench, bag: Bag
) -> None:
    scopes = {"rust_mites": "whole", "thrips": "whole", "predatory_mites": "cells"}
    reading = bench.start(bag, organisms=scopes)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    found = {tally.organism.code: tally.count for tally in bench.tallies(reading)}
    assert found == {"rust_mites": 0, "thrips": 0}


def test_cells_keep_their_counts_and_their_area(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [4, 0, 7])
    bench.finish(reading, "the lamp failed", rust_mites=11)
    bench.send()
    (tally,) = bench.tallies(reading)
    assert (tally.scope, tally.cells_counted, tally.count) == ("named_cells", 3, 11)
    assert (tally.pilot_cells, tally.animals_in_dish) == (None, None)
    kept = {cell.cell: cell.count for cell in tally.cell_counts.all()}
    assert kept == dict(zip(bench.order(3), [4, 0, 7], strict=True))
    areas = dict(zip(bench.grid.cell_names, bench.grid.cell_areas_mm2, strict=True))
    seen = sum(areas[name] for name in kept)
    assert tally.proportion_counted == pytest.approx(seen / bench.grid.area_mm2)


PILOT = [9, 12, 7, 10, 14, 8, 11, 9, 13, 10]


def test_two_stages_give_the_unbiased_total(bench: Bench, bag: Bag) -> None:
    """As many cells as the pilot called for: the core's total, pilot first."""
    counts = [*PILOT, 10, 8, 12, 9, 11, 10, 7, 13, 9, 10]
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.act("call", reading, cells=20)
    bench.read_cells(reading, "rust_mites", counts)
    bench.finish(reading, rust_mites=sum(counts))
    bench.send()
    (tally,) = bench.tallies(reading)
    cells = dict(zip(bench.order(20), counts, strict=True))
    core = two_stage_total(cells, grid=bench.grid, pilot=10, cv=0.15, seed=7)
    assert tally.pilot_cells == 10
    assert tally.animals_in_dish == core.total
    assert tally.share_of_animals == pytest.approx(sum(counts) / core.total)
    with stating(bench.world.group.pk):
        kept = tally.cell_counts.order_by("pk").values_list("cell", flat=True)
        assert list(kept) == bench.order(20)


def test_the_pilot_stands_first_whatever_way_was_gone(bench: Bench, bag: Bag) -> None:
    order = bench.order(20)
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.act("call", reading, cells=20)
    for cell in reversed(order):
        bench.press(reading, "rust_mites", cell, 3)
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, rust_mites=60)
    bench.send()
    (tally,) = bench.tallies(reading)
    with stating(bench.world.group.pk):
        kept = tally.cell_counts.order_by("pk").values_list("cell", flat=True)
        assert list(kept) == order


def test_fewer_cells_than_called_for_are_a_part_like_any(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.act("call", reading, cells=20)
    bench.read_cells(reading, "rust_mites", [*PILOT, 8, 12, 9])
    bench.finish(reading, "fire drill", rust_mites=sum(PILOT) + 29)
    bench.send()
    (tally,) = bench.tallies(reading)
    assert (tally.cells_counted, tally.animals_in_dish) == (13, None)


def test_uncountable_is_neither_none_nor_not_counted(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells", "thrips": "whole"})
    bench.press(reading, "rust_mites", "H7", 3)
    bench.act("uncountable", reading, organism=bench.key("rust_mites"))
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=0, thrips=0)
    bench.send()
    found = {one.organism.code: one for one in bench.tallies(reading)}
    mites = found["rust_mites"]
    assert (mites.outcome, mites.count, mites.scope) == ("uncountable", None, "whole")
    assert found["thrips"].count == 0


def test_a_cell_read_twice_counts_once(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    (cell,) = bench.order(1)
    for _ in range(2):
        bench.press(reading, "rust_mites", cell, 2)
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, rust_mites=4)
    bench.send()
    (tally,) = bench.tallies(reading)
    assert (tally.cells_counted, tally.count) == (1, 4)


def test_undone_presses_do_not_count(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    wrong = bench.press(reading, "rust_mites", "row 3")
    bench.act("undo", reading, event=wrong)
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=4)
    bench.send()
    assert [one.count for one in bench.tallies(reading)] == [4]


def test_nothing_counts_before_the_end_and_its_gaps_are_filled(
    bench: Bench, bag: Bag
) -> None:
    """N02: an end that overtakes a press waits for it."""
    reading = bench.count(bag, 5)
    events, bench.unsent = bench.unsent, []
    late = events.pop(2)
    (told,) = bench.send(events)["readings"]
    assert told["state"] == "open"
    assert "still on their way" in told["why"]
    assert bench.tallies(reading) == []
    (told,) = bench.send([late])["readings"]
    assert told["state"] == "published"
    assert [one.count for one in bench.tallies(reading)] == [5]


def test_sending_again_publishes_nothing_more(bench: Bench, bag: Bag) -> None:
    """N01, N12: the answer was lost, the device sends all of it again."""
    reading = bench.count(bag, 5)
    events = list(bench.unsent)
    first = bench.send()
    again = bench.send(events)
    assert again["readings"] == first["readings"]
    assert len(bench.tallies(reading)) == 1


def test_a_dropped_reading_counts_for_nothing_and_says_why(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.act("drop", reading, why="wrong bag")
    (told,) = bench.send()["readings"]
    assert (told["state"], told["why"]) == ("dropped", "wrong bag")
    assert bench.tallies(reading) == []
    with stating(bench.world.group.pk):
        bag.refresh_from_db()
    assert bag.way == "planned"


def test_a_lost_bag_that_is_counted_is_found(bench: Bench, bag: Bag) -> None:
    with stating(bench.world.group.pk):
        Bag.objects.filter(pk=bag.pk).update(way="lost")
    bench.count(bag, 1)
    bench.send()
    with stating(bench.world.group.pk):
        bag.refresh_from_db()
        assert BagStep.objects.filter(bag=bag, before="lost", way="counted").exists()
    assert bag.way == "counted"


def test_a_second_dish_joins_the_wash(bench: Bench, bag: Bag) -> None:
    one, two = bench.count(bag, 5), bench.count(bag, 7, dish_number=2)
    bench.send()
    (first,), (second,) = bench.tallies(one), bench.tallies(two)
    assert first.wash_id == second.wash_id
    assert (second.dish_number, second.wash.dishes) == (2, 2)


def test_a_symptom_score_is_kept_once(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.act("score", reading, value=2)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    with stating(bench.world.group.pk):
        (score,) = SymptomScore.objects.filter(bag=bag)
    assert (score.score, score.scorer) == (2, bench.world.people["lab"])
    assert score.scored_on == DAY
    # The same score again is no second one.
    again = bench.start(bag, recount=True)
    bench.act("score", again, value=2)
    bench.read_rows(again)
    bench.finish(again)
    (told,) = bench.send()["readings"]
    assert told["state"] == "published"
    with stating(bench.world.group.pk):
        assert SymptomScore.objects.filter(bag=bag).count() == 1


def test_open_readings_cost_two_queries_whatever_their_presses(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 300)
    bench.send()
    key = bench.reading(reading).uuid
    with transaction.atomic():
        member = bench.member
        with CaptureQueriesContext(
            connection,
        ) as queries:
            (told,) = follow(member, {key})
    assert told["state"] == "open"
    assert len(queries) == 2


def test_a_finished_reading_costs_a_fixed_number_of_queries(
    bench: Bench, world: World
) -> None:
    counts = []
    for presses in (2, 200):
        with stating(world.group.pk):
            wanted = Wanted(tissue="leaf", numbers={"mid": 1})
            (bag,) = make_bags(bench.member, world.block, DAY, wanted)
        bench.count(bag, presses)
        end = bench.unsent.pop()
        bench.send()
        with CaptureQueriesContext(connection) as queries:
            bench.send([end])
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 50
