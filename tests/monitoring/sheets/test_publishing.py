"""From an uploaded sheet to published tallies."""

import pytest

from blocks.tenancy import stating
from monitoring.models import Bag, CellCount, Round, RoundChange, Sheet, Tally, Wash
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def test_a_good_sheet_is_published_whole(desk: Desk) -> None:
    sheet = desk.upload(
        bag_sheet(
            bag_row(bag=1),
            bag_row(bag=2, rust_mites=40, rust_mites_cells="H8 G7 C4"),
            bag_row(bag=3, rust_mites=70, rust_mites_cells=12, position="upper"),
            bag_row(bag=4, rust_mites="uncountable", thrips=""),
            bag_row(bag=5, rust_mites="", predatory_mites="", thrips=""),
        )
    )
    assert desk.codes(sheet) == []
    assert sheet.state == Sheet.State.CHECKED
    with stating(sheet.farm_group_id):
        assert Tally.objects.count() == 0
    sheet = desk.publish(sheet)
    assert sheet.state == Sheet.State.PUBLISHED
    with stating(sheet.farm_group_id):
        assert Round.objects.get().growth_stage == "BBCH 75"
        ways = dict(Bag.objects.values_list("code", "way"))
        assert ways == {
            "1": "counted",
            "2": "counted",
            "3": "counted",
            "4": "counted",
            "5": "collected",
        }
        assert Wash.objects.count() == 5
        mites = {
            tally.wash.bag.code: tally
            for tally in Tally.objects.filter(organism__code="rust_mites")
        }
        assert (mites["1"].scope, mites["1"].count) == ("whole", 3)
        assert mites["2"].cells_counted == 3
        assert 0.01 < mites["2"].proportion_counted < 0.02
        assert mites["3"].proportion_counted == pytest.approx(12 / 208)
        assert mites["4"].outcome == "uncountable"
        assert mites["4"].count is None
        assert set(CellCount.objects.values_list("cell", flat=True)) == {
            "H8",
            "G7",
            "C4",
        }
        assert Tally.objects.count() == 11
        assert RoundChange.objects.count() == 1


def test_the_same_counts_in_another_file_change_nothing(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(), bag_row(bag=2, rust_mites_cells=9))))
    again = desk.upload(
        bag_sheet(bag_row(bag=2, rust_mites_cells=9), bag_row(note="typed again"))
    )
    assert again.summary["new"] == again.summary["changed"] == 0
    assert again.summary["same"] == 6
    assert again.summary["questions"] == []


def test_a_correction_supersedes_and_keeps_the_old_count(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=3))))
    sheet = desk.upload(bag_sheet(bag_row(rust_mites=30)))
    assert sheet.summary["changed"] == 1
    assert sheet.summary["open_questions"] == ["changed"]
    sheet = desk.answer(sheet, changed="correction", reason="A zero was missing.")
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        old, new = Tally.objects.filter(organism__code="rust_mites").order_by("pk")
        assert (old.state, old.count, old.chosen) == ("superseded", 3, False)
        assert (new.state, new.count, new.chosen) == ("published", 30, True)
        assert new.supersedes == old
        assert new.reason == "A zero was missing."


def test_a_recount_stands_beside_the_first_reading(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=3))))
    sheet = desk.answer(
        desk.upload(bag_sheet(bag_row(rust_mites=5))), changed="recount"
    )
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        first, second = Tally.objects.filter(organism__code="rust_mites").order_by("pk")
        assert (first.reading, first.count, first.chosen) == (1, 3, True)
        assert (second.reading, second.count, second.chosen) == (2, 5, False)


def test_cells_become_the_detail_of_a_tally_that_agrees(desk: Desk) -> None:
    desk.publish(
        desk.upload(bag_sheet(bag_row(rust_mites=12, rust_mites_cells="C4 D7 E5")))
    )
    cells = b"bag,organism,cell,count\n1,rust_mites,C4,2\n1,rust_mites,D7,7\n"
    sheet = desk.publish(desk.upload(cells + b"1,rust mites,E5,3\n"))
    assert sheet.state == Sheet.State.PUBLISHED
    assert sheet.layout == "cells"
    with stating(sheet.farm_group_id):
        assert Tally.objects.filter(organism__code="rust_mites").count() == 1
        counts = dict(CellCount.objects.values_list("cell", "count"))
    assert counts == {"C4": 2, "D7": 7, "E5": 3}


def test_cells_that_do_not_agree_ask(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=12))))
    sheet = desk.upload(b"bag,organism,cell,count\n1,rust_mites,C4,2\n")
    assert sheet.summary["open_questions"] == ["changed"]


def test_codes_of_several_rounds_ask_which_round(desk: Desk) -> None:
    desk.publish(
        desk.upload(bag_sheet(bag_row(), bag_row(collected_on="2026-08-20",
                                                 washed_on="")))
    )  # fmt: skip
    sheet = desk.upload(b"bag,organism,cell,count\n1,thrips,C4,0\n")
    (question,) = sheet.summary["questions"]
    assert question["key"] == "round"
    chosen = question["choices"][0][0]
    sheet = desk.answer(sheet, round=chosen)
    assert sheet.summary["open_questions"] == ["changed"]
