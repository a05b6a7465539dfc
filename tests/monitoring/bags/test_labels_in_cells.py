"""A sheet of cells may name a bag by its label's code."""

import pytest

from blocks.tenancy import stating
from monitoring.models import Bag, CellCount, Sheet, Tally
from tests.builders import World
from tests.desks import Desk
from tests.monitoring.bags.bench import Bench

pytestmark = pytest.mark.django_db
HEAD = "bag,organism,cell,count"


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


@pytest.fixture
def desk(bench: Bench) -> Desk:
    return Desk(bench.world)


def _cells(*rows: str) -> bytes:
    return "\n".join([HEAD, *rows, ""]).encode()


@pytest.mark.parametrize(
    "written", [str.upper, str.lower, lambda s: s.replace("-", "")]
)
def test_a_label_finds_its_bag_however_it_is_written(
    bench: Bench, desk: Desk, written: object
) -> None:
    _, bag, _ = bench.make()
    code = written(bag.label_code)  # type: ignore[operator]  # a function of text
    rows = [f"{code},rust_mites,C4,2", f"{code},rust_mites,D7,7"]
    sheet = desk.publish(desk.upload(_cells(*rows)))
    assert sheet.state == Sheet.State.PUBLISHED, desk.findings(sheet)
    with stating(bench.world.group.pk):
        assert Bag.objects.count() == 3
        tally = Tally.objects.get()
        assert (tally.wash.bag_id, tally.count, tally.cells_counted) == (bag.pk, 9, 2)
        assert dict(CellCount.objects.values_list("cell", "count")) == {
            "C4": 2,
            "D7": 7,
        }
    assert bench.way(bag) == "counted"


def test_a_label_asks_for_no_round_where_numbers_would(
    bench: Bench, desk: Desk
) -> None:
    """Bags of both rounds have the number 2; their labels differ."""
    _, first, _ = bench.make()
    _, second, _ = bench.make(block=1)
    assert first.code == second.code
    sheet = desk.upload(_cells(f"{second.code},rust_mites,C4,2"))
    assert sheet.summary["open_questions"] == ["round"]
    sheet = desk.publish(desk.upload(_cells(f"{second.label_code},rust_mites,C4,2")))
    assert sheet.state == Sheet.State.PUBLISHED, desk.findings(sheet)
    assert [bench.way(first), bench.way(second)] == ["planned", "counted"]


def test_a_label_and_the_number_of_its_bag_are_the_same_bag(
    bench: Bench, desk: Desk
) -> None:
    _, bag, _ = bench.make()
    rows = [f"{bag.label_code},rust_mites,C4,2", f"{bag.code},rust_mites,C4,3"]
    sheet = desk.upload(_cells(*rows))
    assert desk.codes(sheet) == ["cell-twice", "cell-twice"]
    assert "Rows 2, 3" in desk.findings(sheet)[0].sentence
    rows[1] = f"{bag.code},rust_mites,C5,3"
    desk.publish(desk.upload(_cells(*rows)))
    with stating(bench.world.group.pk):
        assert Tally.objects.get().count == 5


def test_a_bags_own_code_comes_before_a_label(bench: Bench, desk: Desk) -> None:
    _, bag, other = bench.make()
    with stating(bench.world.group.pk):
        Bag.objects.filter(pk=other.pk).update(code=bag.label)
    desk.publish(desk.upload(_cells(f"{bag.label},rust_mites,C4,2")))
    assert [bench.way(bag), bench.way(other)] == ["planned", "counted"]


def test_a_label_that_no_bag_has_is_an_error(
    bench: Bench, desk: Desk, make_world: object
) -> None:
    bench.make()
    _, theirs, _ = Bench(make_world()).make()  # type: ignore[operator]  # the fixture's function
    sheet = desk.upload(_cells(f"{theirs.label_code},rust_mites,C4,2"))
    assert desk.codes(sheet) == ["unknown-bag"]
    assert f"label “{theirs.label_code}” is known" in desk.findings(sheet)[0].sentence


def test_a_bag_that_the_chosen_round_lacks_is_said_and_not_dropped(
    bench: Bench, desk: Desk
) -> None:
    bench.make(numbers={"mid": 3})
    bench.make(block=1, numbers={"mid": 2})
    sheet = desk.upload(_cells("2,rust_mites,C4,2", "3,rust_mites,C4,1"))
    (question,) = sheet.summary["questions"]
    other = bench.world.blocks[1].name
    (chosen,) = (key for key, words in question["choices"] if words.startswith(other))
    sheet = desk.answer(sheet, round=chosen)
    assert desk.codes(sheet) == ["bag-elsewhere"]
    assert desk.findings(sheet)[0].row_number == 3
