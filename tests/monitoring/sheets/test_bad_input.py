"""Sheets as people send them: taken, asked about, or sent back with a sentence.

Each case is a real file that goes through the upload. Nothing gives an exception, and
nothing counts before it is published.
"""

from datetime import date, timedelta

import pytest
from django.utils import timezone
from openpyxl import Workbook

from blocks.tenancy import stating
from monitoring.models import Bag, Sheet, SheetRow, Tally
from tests.desks import HEADER, Desk, bag_row, bag_sheet
from tests.monitoring.sheets.workbooks import usual_row, with_part, workbook

pytestmark = pytest.mark.django_db
SHORT = "bag,block,collected_on,tissue,position,rust_mites"
LINE = "1,Block 0,2026-08-14,leaf,mid,3"
GOOD = f"{SHORT}\n{LINE}\n"


def short(**values: str) -> bytes:
    row = dict(zip(SHORT.split(","), LINE.split(","), strict=True)) | values
    return f"{SHORT}\n{','.join(row.values())}\n".encode()


REFUSED = {
    "C05-invalid-byte": (f"{SHORT}\n1,Bl\u00f6ck,".encode() + b"\xff\n",
                         "mixed-encoding"),
    "C06-mixed-encodings": (GOOD.encode() + "2,é,".encode() + "é\n".encode("cp1252"),
                            "mixed-encoding"),
    "C13-open-quote": (f'{SHORT}\n1,"Block 0,2026-08-14\n'.encode(), "bad-quotes"),
    "C14-nul": (GOOD.encode() + b"\x00\n", "nul-byte"),
    "C15-empty": (b"", "empty-file"),
    "C15-only-bom": (b"\xef\xbb\xbf", "no-rows"),
    "C15-only-header": (f"{SHORT}\n".encode(), "only-header"),
    "C19-two-for-one": (f"bag_no,{SHORT}\n9,{LINE}\n".encode(), "column-twice"),
    "C20-missing": (b"bag,block,tissue,position\n1,Block 0,leaf,mid\n",
                    "missing-column"),
    "C22-twice": (f"{SHORT},rust_mites\n{LINE},3\n".encode(), "column-twice"),
    "C65-crosstab": (b",12 May,19 May,26 May\nBlock 0,3,4,9\nBlock 1,3,4,7\n",
                     "no-header"),
    "C69-html": (b"<html><table><tr><td>bag</td></tr></table></html>", "web-page"),
    "C69-xls": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600,
                "old-or-locked-workbook"),
    "C69-pdf": (b"%PDF-1.7\n", "pdf"),
    "C69-other-zip": (with_part(b"PK\x05\x06" + b"\x00" * 18, "a.txt",
                                lambda _: b"x"), "other-zip"),
    "C71-entities": (with_part(workbook(), "xl/sharedStrings.xml",
                               lambda part: b'<!DOCTYPE x [<!ENTITY a "b">]>' + part),
                     "document-type"),
    "C70-bomb": (with_part(workbook(), "xl/media/x.bin", lambda _: b"0" * 60_000_000),
                 "unpacks-too-large"),
    "C75-cut": (workbook()[:-400], "broken-workbook"),
    "C69-macros": (with_part(workbook(), "xl/vbaProject.bin", lambda _: b"x"),
                   "macros"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSED)
def test_a_file_that_cannot_be_read_says_why(desk: Desk, case: str) -> None:
    content, code = REFUSED[case]
    sheet = desk.upload(content, "sheet.xlsx" if content[:2] == b"PK" else "sheet.csv")
    assert sheet.state == Sheet.State.REFUSED
    assert sheet.summary["refused"] == code
    assert sheet.summary["sentence"].endswith(".")
    (finding,) = desk.findings(sheet)
    assert finding.sentence == sheet.summary["sentence"]


def _cp1252(text: str) -> bytes:
    return text.encode("cp1252")


TAKEN = {
    "C01-bom": (b"\xef\xbb\xbf" + GOOD.encode(), []),
    "C02-utf16-le": (GOOD.encode("utf-16"), []),
    "C02-utf16-be": (b"\xfe\xff" + GOOD.encode("utf-16-be"), []),
    "C03-utf16-bare": (GOOD.encode("utf-16-le"), []),
    "C04-windows": (_cp1252(f"{SHORT},note\n{LINE},Süd \u2013 oben\n"),
                    ["encoding-guessed"]),
    "C07-semicolons": (f"{SHORT},volume_ml\n{LINE},47;5\n".replace(",", "§")
                       .replace(";", ",").replace("§", ";").encode(),
                       ["decimal-comma"]),
    "C09-tabs": (GOOD.replace(",", "\t").encode(), []),
    "C09-pipes": (GOOD.replace(",", "|").encode(), []),
    "C10-sep": (("sep=;\n" + GOOD.replace(",", ";")).encode(), []),
    "C11-cr-only": (GOOD.replace("\n", "\r").encode(), []),
    "C11-mixed-ends": (f"{SHORT}\r\n{LINE}\r2{LINE[1:]}\n".encode(), []),
    "C12-quoted-newline": (f'{SHORT},note\n{LINE},"two\nlines"\n'.encode(), []),
    "C16-blank-lines": (f"{SHORT},\n\n{LINE},\n,,,,,,\n\n".encode(), []),
    "C17-title-lines": (f"Vineyard counts\nseason 2026\n{GOOD}".encode(),
                        ["lines-above-header"]),
    "C18-synonyms": (GOOD.replace("bag,", "Bag No.,").replace(
        "collected_on", "Sampling Date").replace("rust_mites", "Rust mités").encode(),
        []),
    "C21-unknown-column": (f"{SHORT},weather\n{LINE},rain\n".encode(),
                           ["unknown-column"]),
    "C29-offset": (short(collected_on="2026-08-14T22:30:00+02:00"), []),
    "C36-blank": (short(rust_mites=""), []),
    "C36-dash": (short(rust_mites="-"), ["read-as-not-counted"]),
    "C36-na": (short(rust_mites="n/a"), ["read-as-not-counted"]),
    "C38-a-million": (short(rust_mites="1000000"), ["implausible-count"]),
    "C46-many-units": (f"{SHORT},units\n{LINE},120\n".encode(), ["many-units"]),
    "C50-case-and-name": (GOOD.replace("rust_mites", "RUST MITES").encode(), []),
    "C56-look-alike": (short(bag="1\u0410"), ["look-alike-letters"]),
    "C56-full-width": (short(bag="\uff11\uff12"), ["look-alike-letters"]),
    "C57-unseen-signs": (short(bag="\u200b1 "), ["unseen-signs"]),
    "C58-formula-text": (short(bag="1").replace(
        b"rust_mites\n", b"rust_mites,note\n").replace(b",3\n", b",3,=HYPERLINK(1)\n"),
        []),
    "C64-total": (f"{GOOD}TOTAL,,,,,3\n".encode(), ["total-row"]),
    "C25-serial": (workbook(usual_row(collected_on=46248)), []),
    "C66-number-as-text": (workbook(usual_row(rust_mites="7")), []),
    "C62-filter": (workbook(change=lambda book: setattr(
        book.active.auto_filter, "ref", "A1:F2")), ["filtered"]),
    "C61-hidden-column": (workbook(change=lambda book: setattr(
        book.active.column_dimensions["F"], "hidden", True)), ["hidden-columns"]),
    "C67-comments": (with_part(workbook(), "xl/comments1.xml", lambda _: b"<x/>"),
                     ["comments"]),
    "C72-zip-slip": (with_part(workbook(), "../../slip.txt", lambda _: b"x"), []),
    "C69-csv-is-xlsx": (workbook(), []),
    "C76-older-template": (f"{SHORT},score,notes\n{LINE},1,fine\n".encode(), []),
}  # fmt: skip


@pytest.mark.parametrize("case", TAKEN)
def test_an_odd_file_is_taken_with_a_word(desk: Desk, case: str) -> None:
    content, warnings = TAKEN[case]
    sheet = desk.upload(content)
    assert sheet.state == Sheet.State.CHECKED, sheet.summary
    assert desk.codes(sheet) == []
    assert desk.codes(sheet, "warning") == warnings
    assert desk.publish(sheet).state == Sheet.State.PUBLISHED


ROW_ERRORS = {
    "C08-decimal-comma": (f"{SHORT},volume_ml\n{LINE},47,5\n".encode(),
                          "too-many-fields"),
    "C26-short-year": (short(collected_on="14.08.26"), "not-a-date"),
    "C28-no-such-day": (short(collected_on="31/02/2026"), "no-such-day"),
    "C30-month-name": (short(collected_on="5 May"), "not-a-date"),
    "C25-serial-in-csv": (short(collected_on="46248"), "serial-day"),
    "C31-negative": (short(rust_mites="-3"), "negative"),
    "C32-half": (short(rust_mites="2.5"), "not-whole"),
    "C33-dot-thousands": (short(rust_mites="1.234"), "grouped-digits"),
    "C33-space-thousands": (short(rust_mites="1 234"), "grouped-digits"),
    "C33-comma-thousands": (short(rust_mites='"1,234"'), "grouped-digits"),
    "C34-exponent": (short(rust_mites="1e3"), "not-a-number"),
    "C34-hex": (short(rust_mites="0x10"), "not-a-number"),
    "C34-other-digits": (short(rust_mites="\u0663"), "not-a-number"),
    "C34-word": (short(rust_mites="\u4e09"), "not-a-number"),
    "C35-nan": (short(rust_mites="NaN"), "not-a-number"),
    "C35-inf": (short(rust_mites="inf"), "not-a-number"),
    "C35-huge": (short(rust_mites="1e400"), "not-a-number"),
    "C37-about": (short(rust_mites="~20"), "censored-count"),
    "C37-more-than": (short(rust_mites=">100"), "censored-count"),
    "C37-tntc": (short(rust_mites="TNTC"), "censored-count"),
    "C38-over-int": (short(rust_mites="9999999999"), "out-of-range"),
    "C39-letter-o": (short(rust_mites="1O"), "letter-for-digit"),
    "C39-letter-l": (short(rust_mites="l2"), "letter-for-digit"),
    "C40-unit": (short(rust_mites="12 mites"), "not-a-number"),
    "C40-point": (short(rust_mites="12."), "not-whole"),
    "C46-no-leaf": (f"{SHORT},units\n{LINE},0\n".encode(), "out-of-range"),
    "C46-too-many": (f"{SHORT},units\n{LINE},999\n".encode(), "out-of-range"),
    "C55-exponent": (short(bag="1.2E+10"), "code-became-number"),
    "C55-date": (short(bag="MAR-1"), "code-became-date"),
    "C59-error-value": (short(rust_mites="#REF!"), "spreadsheet-error"),
    "C51-unknown-block": (short(block="Blok 0"), "unknown-block"),
    "C64-total-differs": (f"{GOOD}TOTAL,,,,,30\n".encode(), "total-differs"),
    "empty-bag": (short(bag=""), "empty-field"),
    "leaf-without-position": (short(position=""), "leaf-without-position"),
    "unknown-tissue": (short(tissue="root"), "unknown-word"),
    "unknown-dish": (f"{SHORT},dish\n{LINE},Blue one\n".encode(), "unknown-dish"),
    "washed-first": (f"{SHORT},washed_on\n{LINE},2026-08-01\n".encode(),
                     "washed-before-collected"),
    "odd-stage": (f"{SHORT},growth_stage\n{LINE},EL 99\n".encode(),
                  "not-a-growth-stage"),
    "odd-score": (f"{SHORT},symptoms\n{LINE},9\n".encode(), "out-of-range"),
    "C41-no-such-cell": (bag_sheet(bag_row(rust_mites_cells="A1 H8")), "no-such-cell"),
    "C41-not-a-cell": (bag_sheet(bag_row(rust_mites_cells="A-1")), "not-cells"),
    "C42-more-than-there-are": (bag_sheet(bag_row(rust_mites_cells="209")),
                                "too-many-cells"),
    "C42-zero-cells": (bag_sheet(bag_row(rust_mites_cells="0")), "too-many-cells"),
    "C43-cell-twice": (bag_sheet(bag_row(rust_mites_cells="H8 H8")), "cell-twice"),
    "cells-without-count": (bag_sheet(bag_row(rust_mites="", rust_mites_cells="H8")),
                            "cells-without-count"),
    "C51-unknown-bag": (b"bag,organism,cell,count\n77,thrips,H8,1\n", "unknown-bag"),
    "C49-unknown-organism": (b"bag,organism,cell,count\n1,trips,H8,1\n",
                             "unknown-organism"),
    "C41-cell-of-no-dish": (b"bag,organism,cell,count\n1,thrips,Z99,1\n",
                            "no-such-cell"),
    "C60-merged": (workbook(change=lambda book: book.active.merge_cells("A2:B2")),
                   "merged-cells"),
    "C58-no-cached-value": (workbook(usual_row(rust_mites="=1+2")),
                            "formula-without-value"),
}  # fmt: skip


@pytest.mark.parametrize("case", ROW_ERRORS)
def test_a_row_in_error_is_named_with_a_way_to_mend_it(desk: Desk, case: str) -> None:
    content, code = ROW_ERRORS[case]
    sheet = desk.upload(content)
    assert sheet.state == Sheet.State.CHECKED, sheet.summary
    found = [row for row in desk.findings(sheet) if row.level == "error"]
    assert code in [row.code for row in found]
    (first, *_) = [row for row in found if row.code == code]
    assert first.row_number is not None
    assert first.sentence.endswith((".", "?"))
    with stating(sheet.farm_group_id):
        assert SheetRow.objects.filter(sheet=sheet, number=first.row_number).exists()
        assert not Tally.objects.exists()


def test_all_errors_are_told_at_once(desk: Desk) -> None:
    rows = [bag_row(bag=i, rust_mites="x", position="high up") for i in range(250)]
    sheet = desk.upload(bag_sheet(*rows))
    assert sheet.summary["errors"] == 500


def test_c23_ambiguous_dates_are_asked_once(desk: Desk) -> None:
    both = [short(collected_on="03/04/2026"), short(bag="2", collected_on="05/06/2026")]
    sheet = desk.upload(both[0] + both[1].split(b"\n")[1] + b"\n")
    (question,) = sheet.summary["questions"]
    assert question["key"] == "slash_dates"
    sheet = desk.answer(sheet, slash_dates="month_first")
    assert sheet.summary["open_questions"] == []
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        days = {bag.round.collected_on for bag in _bags()}
    assert days == {date(2026, 3, 4), date(2026, 5, 6)}


def _bags() -> list[Bag]:
    return list(Bag.objects.select_related("round"))


def test_c24_dates_that_contradict_each_other_are_errors(desk: Desk) -> None:
    content = short(collected_on="13/04/2026") + b"2,Block 0,04/13/2026,leaf,mid,3\n"
    assert desk.codes(desk.upload(content)) == ["dates-contradict"] * 2


def test_c27_a_day_to_come_is_an_error(desk: Desk) -> None:
    later = timezone.localdate() + timedelta(days=3)
    sheet = desk.upload(short(collected_on=later.isoformat()))
    assert desk.codes(sheet) == ["future-day"]


def test_c33_a_decimal_comma_needs_another_delimiter(desk: Desk) -> None:
    content = f'{SHORT},volume_ml\n{LINE},"47,5"\n'.encode()
    assert desk.codes(desk.upload(content)) == ["not-a-number"]


def test_c25_the_1904_calendar_is_read_by_its_flag(desk: Desk) -> None:
    def set_1904(book: Workbook) -> None:
        book.epoch = book.epoch.replace(year=1904, month=1, day=1)

    sheet = desk.upload(workbook(change=set_1904))
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        assert _bags()[0].round.collected_on == date(2026, 8, 14)


@pytest.mark.parametrize("answer", ["read", "leave"])
def test_c61_hidden_rows_are_asked(desk: Desk, answer: str) -> None:
    def hide(book: Workbook) -> None:
        book.active.row_dimensions[3].hidden = True

    sheet = desk.upload(workbook(usual_row(), usual_row(bag="2"), change=hide))
    assert sheet.summary["open_questions"] == ["hidden_rows"]
    sheet = desk.answer(sheet, hidden_rows=answer)
    assert sheet.summary["bags"] == (2 if answer == "read" else 1)


def test_c63_the_worksheet_is_asked(desk: Desk) -> None:
    def second(book: Workbook) -> None:
        other = book.create_sheet("autumn")
        other.append([cell.value for cell in book.active[1]])
        other.append(usual_row(bag="77"))

    sheet = desk.upload(workbook(change=second))
    assert sheet.summary["open_questions"] == ["worksheet"]
    sheet = desk.answer(sheet, worksheet="autumn")
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        assert [bag.code for bag in _bags()] == ["77"]


def test_c70_too_many_rows_are_refused(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("monitoring.sheets.intake.ROWS", 3)
    content = GOOD.encode() + b"".join(
        f"{i},Block 0,2026-08-14,leaf,mid,3\n".encode() for i in range(2, 7)
    )
    assert desk.upload(content).summary["refused"] == "too-many-rows"


def test_c49_an_unknown_organism_is_asked_and_added_by_a_coordinator(
    desk: Desk, world: object
) -> None:
    content = f"{SHORT},gall_mites,gall_mites_cells\n{LINE},5,\n".encode()
    sheet = desk.upload(content)
    assert sheet.summary["open_questions"] == ["organism:gall_mites"]
    coordinator = Desk(desk.world, "coordinator")
    sheet = coordinator.answer_all(sheet, {"organism:gall_mites": "add_pest"})
    assert sheet.summary["new"] == 2
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        assert Tally.objects.filter(organism__code="gall_mites").count() == 1


def test_c49_an_unknown_organism_may_be_left_out(desk: Desk) -> None:
    content = f"{SHORT},gall_mites,gall_mites_cells\n{LINE},5,\n".encode()
    sheet = desk.upload(content)
    sheet = desk.answer_all(sheet, {"organism:gall_mites": "leave_out"})
    assert (sheet.summary["open_questions"], sheet.summary["new"]) == ([], 1)


def test_c52_another_groups_block_is_as_unknown_as_any(
    desk: Desk, make_world: object
) -> None:
    other = make_world("Elsewhere ")  # type: ignore[operator]
    sheet = desk.upload(short(block=other.block.name))
    (finding,) = desk.findings(sheet)
    assert finding.code == "unknown-block"
    assert "Near it" not in finding.sentence or "elsewhere" not in finding.sentence


def test_c54_rows_that_stand_twice_are_both_named(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(), bag_row(bag=2), bag_row()))
    found = [row for row in desk.findings(sheet) if row.code == "row-twice"]
    assert [row.row_number for row in found] == [2, 4]
    assert "Rows 2, 4" in found[0].sentence


def test_c43_a_cell_given_twice_names_both_rows(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row())))
    content = b"bag,organism,cell,count\n1,thrips,H8,1\n1,thrips,H8,2\n"
    assert desk.codes(desk.upload(content)) == ["cell-twice"] * 2


def test_c55_a_code_that_lost_its_zeros_is_explained(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(bag="0012"))))
    sheet = desk.upload(b"bag,organism,cell,count\n12,thrips,H8,1\n")
    (finding,) = desk.findings(sheet)
    assert "zeros" in finding.sentence


def test_c73_the_same_file_again_changes_nothing(desk: Desk) -> None:
    content = bag_sheet(bag_row())
    first = desk.publish(desk.upload(content))
    again = desk.upload(content)
    assert again.pk == first.pk


def test_a_bag_keeps_what_it_was_collected_as(desk: Desk) -> None:
    desk.publish(desk.upload(bag_sheet(bag_row(position="mid"))))
    sheet = desk.upload(bag_sheet(bag_row(position="upper")))
    assert desk.codes(sheet) == ["bag-differs"]


def test_growth_stages_of_one_round_that_differ_are_asked(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(), bag_row(bag=2, growth_stage="EL 35")))
    (key,) = sheet.summary["open_questions"]
    sheet = desk.answer_all(sheet, {key: "EL 35"})
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        assert _bags()[0].round.growth_stage == "EL 35"


def test_an_unknown_analyst_is_kept_as_written(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(analyst="A. Stranger")))
    assert desk.codes(sheet, "warning") == ["unknown-analyst"]
    desk.publish(sheet)
    with stating(sheet.farm_group_id):
        tally = Tally.objects.earliest("pk")
        assert (tally.analyst, tally.analyst_name) == (None, "A. Stranger")


def test_a_known_analyst_is_found_by_name(desk: Desk) -> None:
    name = desk.world.people["lab"].name
    sheet = desk.publish(desk.upload(bag_sheet(bag_row(analyst=name))))
    with stating(sheet.farm_group_id):
        assert Tally.objects.earliest("pk").analyst == desk.world.people["lab"]


def test_the_header_may_stand_in_any_order(desk: Desk) -> None:
    columns = HEADER.split(",")[::-1]
    values = bag_row().split(",")[::-1]
    sheet = desk.upload(f"{','.join(columns)}\n{','.join(values)}\n".encode())
    assert sheet.summary["new"] == 3
