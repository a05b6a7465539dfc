"""What a reading at the bench may meet: other benches, sheets, strange bags."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import Bag, Density, Dish, Organism, SymptomScore, Tally
from monitoring.services import bench_readings
from monitoring.services.settings import add_organism
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bench.benches import DAY, Bench, some_bags

pytestmark = pytest.mark.django_db


def _doubts(bench: Bench, key: str) -> list[str]:
    reading = bench.reading(key)
    assert reading.why
    assert bench.tallies(key) == []
    return list(reading.told["doubts"])


def _publish_sheet(desk: Desk, bag: Bag, **values: Any) -> None:
    row = {"bag": bag.code, "collected_on": DAY, "washed_on": "", "symptoms": ""}
    sheet = desk.publish(desk.upload(bag_sheet(bag_row(**row | values)), "late.csv"))
    assert sheet.state == "published", desk.findings(sheet)


def test_n06_second_bench_on_a_bag_waits_and_both_are_kept(
    bench: Bench, bag: Bag, world: World
) -> None:
    other = Bench(world, role="coordinator")
    first, second = bench.count(bag, 10), other.count(bag, 14)
    bench.send()
    (told,) = other.send()["readings"]
    assert told["state"] == "waiting"
    assert "counts published already (rust mites)" in told["why"]
    assert _doubts(other, second) == ["already-counted"]
    assert [one.count for one in bench.tallies(first)] == [10]


def test_n06_a_declared_recount_is_a_further_reading_that_is_not_chosen(
    bench: Bench, bag: Bag, world: World
) -> None:
    other = Bench(world, role="coordinator")
    bench.count(bag, 10)
    bench.send()
    second = other.count(bag, 14, recount=True, blind=True)
    (told,) = other.send()["readings"]
    assert told["state"] == "published"
    (tally,) = other.tallies(second)
    assert (tally.reading, tally.chosen, tally.blind) == (2, False, True)
    third = other.count(bag, 13, recount=True)
    other.send()
    assert [one.reading for one in other.tallies(third)] == [3]


def test_n06_a_recount_that_comes_first_is_the_first_reading(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.count(bag, 14, recount=True, blind=True)
    bench.send()
    (tally,) = bench.tallies(reading)
    assert (tally.reading, tally.chosen) == (1, True)


def test_n06_an_organism_that_only_one_counted_is_its_first_reading(
    bench: Bench, bag: Bag
) -> None:
    bench.count(bag, 10)
    both = {"rust_mites": "whole", "thrips": "whole"}
    reading = bench.start(bag, recount=True, organisms=both)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    found = {one.organism.code: one for one in bench.tallies(reading)}
    assert (found["rust_mites"].reading, found["rust_mites"].chosen) == (2, False)
    assert (found["thrips"].reading, found["thrips"].chosen) == (1, True)


def test_n09_a_bag_published_by_a_sheet_meanwhile_makes_the_reading_wait(
    bench: Bench, bag: Bag, desk: Desk
) -> None:
    reading = bench.count(bag, 10)
    _publish_sheet(desk, bag, rust_mites=8)
    bench.send()
    assert _doubts(bench, reading) == ["already-counted"]


def test_n09_a_sheet_published_while_the_reading_is_judged_makes_it_wait(
    bench: Bench, bag: Bag, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between looking at what stands and writing: the tallies' key tells."""
    reading = bench.count(bag, 10)
    judged = bench_readings.finished
    done: list[Any] = []

    def meanwhile(*args: Any) -> Any:
        found = judged(*args)
        if not done:
            done.append(found)
            _publish_sheet(desk, bag, rust_mites=8, predatory_mites="", thrips="")
        return found

    monkeypatch.setattr(bench_readings, "finished", meanwhile)
    bench.send()
    assert _doubts(bench, reading) == ["already-counted"]
    with stating(bench.world.group.pk):
        assert [one.count for one in Tally.objects.filter(wash__bag=bag)] == [8]


def test_n09_another_organism_of_the_bag_by_a_sheet_is_no_hindrance(
    bench: Bench, bag: Bag, desk: Desk
) -> None:
    reading = bench.count(bag, 10)
    _publish_sheet(desk, bag, rust_mites="", predatory_mites=3)
    bench.send()
    (tally,) = bench.tallies(reading)
    with stating(bench.world.group.pk):
        other = Tally.objects.get(organism__code="predatory_mites")
    assert tally.wash_id == other.wash_id


def test_n10_a_bag_unknown_to_the_group_is_set_apart(
    bench: Bench, world: World
) -> None:
    reading = bench.count(str(uuid4()), 10)
    (told,) = bench.send()["readings"]
    assert (told["state"], told["bag"]) == ("quarantined", None)
    assert _doubts(bench, reading) == ["no-bag"]


def test_n10_another_groups_bag_is_unknown(bench: Bench, make_world: Any) -> None:
    theirs = some_bags(make_world())[0]
    bench.count(theirs, 10)
    (told,) = bench.send()["readings"]
    assert (told["state"], told["bag"]) == ("quarantined", None)


def test_n10_an_unknown_dish_is_set_apart(bench: Bench, bag: Bag) -> None:
    reading = bench.count(bag, 10, dish=str(uuid4()))
    (told,) = bench.send()["readings"]
    assert told["state"] == "quarantined"
    assert _doubts(bench, reading) == ["no-dish"]


def test_n11_an_organism_added_meanwhile_is_simply_not_counted(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.count(bag, 10)
    with transaction.atomic():
        coordinator = Bench(bench.world, role="coordinator").member
        add_organism(coordinator, name="Spider mites", role=Organism.Role.PEST)
    bench.send()
    assert [one.organism.code for one in bench.tallies(reading)] == ["rust_mites"]


def test_n11_an_organism_that_the_group_does_not_have_is_told_and_waits(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "whole", str(uuid4()): "whole"})
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=4)
    bench.send()
    assert _doubts(bench, reading) == ["unknown-organism"]
    assert "does not count" in bench.reading(reading).why


def test_totals_of_the_page_that_differ_wait(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading)
    bench.finish(reading, rust_mites=5)
    bench.send()
    assert _doubts(bench, reading) == ["totals-differ"]
    assert "5 on the page, 4 by its presses" in bench.reading(reading).why


def test_whole_dish_with_rows_unread_waits(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3", 4)
    bench.read_rows(reading, but=("row 1", "row 9"))
    bench.finish(reading, "a bubble", rust_mites=4)
    bench.send()
    assert _doubts(bench, reading) == ["unread-rows"]
    assert "rows 1 and 9 were left out (a bubble)" in bench.reading(reading).why


def test_cells_that_chance_did_not_put_first_wait(bench: Bench, bag: Bag) -> None:
    # All cells were called for and read row by row; somebody stopped among them.
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [0] * 10)
    bench.act("call", reading, cells=208)
    for cell in bench.grid.cell_names[:30]:
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, "ran out of time", rust_mites=0)
    bench.send()
    assert _doubts(bench, reading) == ["not-drawn"]
    assert "somebody stopped (ran out of time)" in bench.reading(reading).why


def test_cells_that_chance_did_not_put_first_make_no_total_of_two_stages(
    bench: Bench, bag: Bag
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    first = bench.order(10)
    others = [cell for cell in bench.grid.cell_names if cell not in first][:10]
    for cell in [*first, *others]:
        bench.press(reading, "rust_mites", cell, 20)
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.act("call", reading, cells=20)
    bench.finish(reading, rust_mites=400)
    bench.send()
    assert _doubts(bench, reading) == ["not-drawn"]
    (counted,) = bench.reading(reading).told["counted"]
    assert (counted["pilot"], counted["animals"]) == (None, None)


def test_cells_passed_over_leave_the_next_ones_drawn(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    torn, *rest = bench.order(11)
    bench.act("skip", reading, **{"pass": "cells", "place": torn, "why": "debris"})
    for cell in rest:
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, "", rust_mites=0)
    bench.send()
    assert bench.reading(reading).state == "published"


def test_a_cell_that_is_not_on_the_dish_waits(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    for cell in ("H7", "A1", "ZZ99"):
        bench.press(reading, "rust_mites", cell)
        bench.act("read", reading, **{"pass": "cells", "place": cell})
    bench.finish(reading, rust_mites=3)
    bench.send()
    assert "not-on-dish" in _doubts(bench, reading)
    assert "A1, ZZ99" in bench.reading(reading).why


def test_a_reading_without_anything_read_waits(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.press(reading, "rust_mites", "row 3")
    bench.finish(reading, rust_mites=0)
    bench.send()
    assert _doubts(bench, reading) == ["nothing-counted"]


def test_another_symptom_score_than_the_bags_waits(
    bench: Bench, bag: Bag, desk: Desk
) -> None:
    _publish_sheet(desk, bag, symptoms=1, rust_mites="", predatory_mites="", thrips="")
    reading = bench.start(bag)
    bench.act("score", reading, value=3)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    assert _doubts(bench, reading) == ["score-differs"]
    with stating(bench.world.group.pk):
        assert SymptomScore.objects.get(bag=bag).score == 1


def test_a_score_that_the_scale_does_not_have_waits(bench: Bench, bag: Bag) -> None:
    reading = bench.start(bag)
    bench.act("score", reading, value=9)
    bench.read_rows(reading)
    bench.finish(reading)
    bench.send()
    assert _doubts(bench, reading) == ["score-unknown"]
    assert "the group's scale goes from 0 to 4" in bench.reading(reading).why


def test_sheet_after_the_bench_sees_the_same_counts(
    bench: Bench, bag: Bag, desk: Desk
) -> None:
    bench.count(bag, 10)
    bench.send()
    values = {
        "bag": bag.code, "collected_on": DAY, "washed_on": "", "symptoms": "",
        "rust_mites": 10, "predatory_mites": "", "thrips": "",
    }  # fmt: skip
    sheet = desk.upload(bag_sheet(bag_row(**values)))
    assert (sheet.summary["same"], sheet.summary["changed"]) == (1, 0)
    desk.publish(sheet)
    with stating(bench.world.group.pk):
        assert Tally.objects.filter(wash__bag=bag).count() == 1


@pytest.mark.parametrize("answer", ["correction", "recount"])
def test_sheet_after_the_bench_asks_what_its_other_counts_are(
    bench: Bench, bag: Bag, desk: Desk, answer: str
) -> None:
    reading = bench.count(bag, 10)
    bench.send()
    values = {
        "bag": bag.code, "collected_on": DAY, "washed_on": "", "symptoms": "",
        "rust_mites": 12, "predatory_mites": "", "thrips": "",
    }  # fmt: skip
    sheet = desk.upload(bag_sheet(bag_row(**values)))
    assert sheet.summary["changed"] == 1
    assert "tally-changed" in desk.codes(sheet, "warning")
    desk.publish(desk.answer(sheet, changed=answer, reason="looked again"))
    (old,) = bench.tallies(reading)
    with stating(bench.world.group.pk):
        new = Tally.objects.get(source_sheet__isnull=False, wash__bag=bag)
    if answer == "correction":
        assert (old.state, new.supersedes_id) == ("superseded", old.pk)
        assert (new.reading, new.chosen) == (1, True)
    else:
        assert (old.state, old.chosen) == ("published", True)
        assert (new.reading, new.chosen) == (2, False)


def test_cells_of_a_sheet_are_the_same_as_those_of_the_bench(
    bench: Bench, bag: Bag, desk: Desk
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.read_cells(reading, "rust_mites", [4, 0, 7])
    bench.finish(reading, rust_mites=11)
    bench.send()
    lines = ["bag,organism,cell,count"]
    lines += [
        f"{bag.code},rust_mites,{cell},{count}"
        for cell, count in zip(bench.order(3), [4, 0, 7], strict=True)
    ]
    sheet = desk.upload("\n".join([*lines, ""]).encode(), "cells.csv")
    assert sheet.summary["same"] == 1, desk.findings(sheet)


def test_density_sees_the_bench(bench: Bench, world: World) -> None:
    bags = some_bags(world, 3)
    for number, one in enumerate(bags):
        bench.count(one, 10 + number)
    bench.send()
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(organism__code="rust_mites", is_current=True)
    assert (density.bags_used, density.bags_missing) == (3, 0)


def test_another_dish_of_the_group_is_the_tallys(bench: Bench, bag: Bag) -> None:
    with stating(bench.world.group.pk):
        small = Dish.objects.create(
            farm_group=bench.world.group,
            name="Small",
            inner_diameter_mm=40,
            pitch_mm=10,
        )
        assert Organism.objects.filter(farm_group=bench.world.group).exists()
    reading = bench.start(bag, dish=str(small.uuid))
    for row in range(1, 5):
        bench.act("read", reading, **{"pass": "whole", "place": f"row {row}"})
    bench.finish(reading)
    bench.send()
    (tally,) = bench.tallies(reading)
    assert (tally.dish_id, tally.scope) == (small.pk, "whole")
