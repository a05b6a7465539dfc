"""A sheet may name a bag by its label's code."""

import pytest

from blocks.tenancy import stating
from monitoring.models import Bag, Sheet, Tally
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bags.bench import DAY, Bench

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


def _row(bag: Bag, code: str, **values: object) -> str:
    return bag_row(bag=code, position=bag.position, **values)


@pytest.mark.parametrize(
    "written", [str.upper, str.lower, lambda s: s.replace("-", "")]
)
def test_a_label_finds_its_bag_however_it_is_written(
    bench: Bench, written: object
) -> None:
    _, bag, _ = bench.make()
    desk = Desk(bench.world)
    code = written(bag.label_code)  # type: ignore[operator]  # a function of text
    sheet = desk.publish(desk.upload(bag_sheet(_row(bag, code, rust_mites=77))))
    assert sheet.state == Sheet.State.PUBLISHED, desk.findings(sheet)
    with stating(bench.world.group.pk):
        assert Bag.objects.count() == 3
        tally = Tally.objects.get(organism__code="rust_mites")
        assert (tally.wash.bag_id, tally.count) == (bag.pk, 77)
    assert bench.way(bag) == "counted"


def test_a_label_and_the_number_of_its_bag_are_the_same_bag(bench: Bench) -> None:
    _, bag, _ = bench.make()
    desk = Desk(bench.world)
    rows = [_row(bag, bag.label_code), _row(bag, bag.code)]
    assert desk.codes(desk.upload(bag_sheet(*rows))) == ["row-twice", "row-twice"]


def test_a_label_of_another_day_is_an_error_that_names_its_bag(bench: Bench) -> None:
    _, bag, _ = bench.make()
    desk = Desk(bench.world)
    sheet = desk.upload(bag_sheet(_row(bag, bag.label_code, collected_on="2026-08-15")))
    (found,) = [f for f in desk.findings(sheet) if f.code == "label-elsewhere"]
    assert f"is of bag {bag.code} of {bench.world.block.name}, {DAY}" in found.sentence


def test_a_label_typed_wrongly_is_warned_of(bench: Bench) -> None:
    _, bag, _ = bench.make()
    swapped = bag.label_code[:-2] + bag.label_code[:-3:-1]
    wrong = swapped if swapped != bag.label_code else "222-2223"
    desk = Desk(bench.world)
    sheet = desk.upload(bag_sheet(_row(bag, wrong)))
    assert "label-unknown" in desk.codes(sheet, "warning")


def test_a_bags_own_code_comes_before_a_label(bench: Bench) -> None:
    """A laboratory that numbers its bags 2345672 keeps them, whatever is a label."""
    _, bag, other = bench.make()
    with stating(bench.world.group.pk):
        Bag.objects.filter(pk=other.pk).update(code=bag.label)
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(_row(bag, bag.label))))
    assert [bench.way(bag), bench.way(other)] == ["planned", "counted"]


def test_another_groups_label_finds_nothing(bench: Bench, make_world: object) -> None:
    theirs = Bench(make_world())  # type: ignore[operator]  # the fixture's function
    _, bag, _ = theirs.make()
    desk = Desk(bench.world)
    row = bag_row(bag=bag.label_code, position="mid", block=bench.world.block.name)
    sheet = desk.publish(desk.upload(bag_sheet(row)))
    assert sheet.state == Sheet.State.PUBLISHED
    assert theirs.way(bag) == "planned"
