"""The pages of sheets, and the files that go back to the person."""

import csv
from io import BytesIO, StringIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from openpyxl import load_workbook

from blocks.tenancy import stating
from monitoring.models import Sheet, SheetRow
from monitoring.sheets.exports import harmless
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def send(world: World, content: bytes, name: str = "sheet.csv") -> Any:
    file = SimpleUploadedFile(name, content)
    return world.client("lab").post(world.url("sheets/"), {"file": file})


def page(world: World, sheet: Sheet, *rest: str, role: str = "lab") -> Any:
    return world.client(role).get(world.url(f"sheets/{sheet.uuid}/{''.join(rest)}"))


def act(world: World, sheet: Sheet, what: str, **fields: str) -> Any:
    address = world.url(f"sheets/{sheet.uuid}/{what}/")
    return world.client("lab").post(address, fields)


def rows_of(response: HttpResponse) -> list[list[str]]:
    return list(csv.reader(StringIO(response.content.decode("utf-8-sig"))))


def test_an_upload_leads_to_a_page_that_asks_again_until_it_is_done(
    desk: Desk,
) -> None:
    answer = send(desk.world, bag_sheet(bag_row()))
    assert answer.status_code == 302
    with stating(desk.world.group.pk):
        sheet = Sheet.objects.get()
    waiting = page(desk.world, sheet).content.decode()
    assert 'hx-trigger="every 1s"' in waiting
    assert "<progress" in waiting
    done = page(desk.world, desk.work(sheet)).content.decode()
    assert 'hx-trigger="every 1s"' not in done
    assert "3 new counts" in done


def test_an_empty_file_is_refused_beside_the_field(world: World) -> None:
    answer = send(world, b"")
    assert answer.status_code == 422
    assert "The file is empty" in answer.content.decode()


def test_the_same_file_again_leads_to_its_publication(desk: Desk) -> None:
    content = bag_sheet(bag_row())
    sheet = desk.publish(desk.upload(content))
    answer = send(desk.world, content)
    assert str(sheet.uuid) in answer.headers["Location"]
    text = page(desk.world, sheet).content.decode()
    assert f"by {desk.world.people['lab'].name}" in text


def test_a_row_is_mended_on_the_page_and_the_row_as_it_came_is_kept(
    desk: Desk,
) -> None:
    row = bag_row(rust_mites="3O")
    sheet = desk.upload(bag_sheet(row))
    assert "3O" in page(desk.world, sheet).content.decode()
    fields = bag_row(rust_mites=30).split(",")
    named = {f"field-{index}": value for index, value in enumerate(fields)}
    assert act(desk.world, sheet, "rows/2", **named).status_code == 302
    sheet = desk.work(sheet)
    assert sheet.summary["errors"] == 0
    with stating(sheet.farm_group_id):
        kept = SheetRow.objects.get(sheet=sheet)
        assert (kept.fields, kept.corrected) == (row.split(","), fields)


def test_a_torn_row_is_mended_by_emptying_its_last_field(desk: Desk) -> None:
    columns = "bag,block,collected_on,tissue,position,volume_ml,shake_s,rust_mites"
    sheet = desk.upload(f"{columns}\n1,Block 0,2026-08-14,leaf,mid,47,5,30,3".encode())
    assert desk.codes(sheet) == ["too-many-fields"]
    fields = ["1", "Block 0", "2026-08-14", "leaf", "mid", "47.5", "30", "3", ""]
    named = {f"field-{index}": value for index, value in enumerate(fields)}
    act(desk.world, sheet, "rows/2", **named)
    sheet = desk.work(sheet)
    assert (desk.codes(sheet), sheet.summary["new"]) == ([], 1)


@pytest.mark.parametrize(
    ("what", "fields", "status"),
    [
        ("rows/2", {"field-x": "1", "field-99999": "2"}, 302),
        ("rows/77", {"field-0": "1"}, 422),
        ("rows/2", {f"field-{index}": "1" for index in range(60)}, 422),
        ("rows/2", {"act": "leave-out"}, 302),
        ("answers", {"answer-": "1", "answer-worksheet": "\x00"}, 422),
        ("answers", {"reason": "\x00a"}, 302),
        ("publish", {}, 409),
    ],
)
def test_whatever_is_posted_ends_in_a_sentence(
    desk: Desk, what: str, fields: dict[str, str], status: int
) -> None:
    sheet = desk.upload(bag_sheet(bag_row(rust_mites="x"), bag_row(bag=2)))
    assert act(desk.world, sheet, what, **fields).status_code == status


def test_rows_in_error_are_left_out_by_name_and_the_rest_counts(desk: Desk) -> None:
    sheet = desk.upload(bag_sheet(bag_row(rust_mites="x"), bag_row(bag=2)))
    act(desk.world, sheet, "leave-out")
    sheet = desk.publish(desk.work(sheet))
    assert (sheet.state, sheet.summary["new"]) == ("published", 3)


def test_the_annotated_sheet_is_harmless_and_can_be_sent_again(desk: Desk) -> None:
    sheet = desk.upload(
        bag_sheet(bag_row(rust_mites="x", note='"=HYPERLINK(""http://x"")"'))
    )
    answer = page(desk.world, sheet, "annotated/")
    assert answer.headers["Content-Disposition"].startswith("attachment")
    header, row = rows_of(answer)
    assert header[-1] == "what_to_mend"
    assert "“x” is not a count" in row[-1]
    assert row[header.index("note")] == '\'=HYPERLINK("http://x")'
    again = desk.upload(answer.content)
    assert desk.codes(again) == ["not-a-number"]
    assert desk.codes(again, "warning") == ["unknown-column"]


@pytest.mark.parametrize(
    ("text", "written"),
    [("=1", "'=1"), ("@x", "'@x"), ("-3", "-3"), ("-cmd", "'-cmd"), ("12", "12")],
)
def test_what_a_spreadsheet_would_run_is_written_as_text(
    text: str, written: str
) -> None:
    assert harmless(text) == written


def test_all_findings_can_be_had_where_the_page_shows_the_first(desk: Desk) -> None:
    rows = [bag_row(bag=number, rust_mites="x") for number in range(230)]
    sheet = desk.upload(bag_sheet(*rows))
    assert "The first 200 of 230." in page(desk.world, sheet).content.decode()
    assert len(rows_of(page(desk.world, sheet, "findings/"))) == 231


def test_the_file_comes_back_as_it_was_sent(desk: Desk) -> None:
    content = b"\xef\xbb\xbf" + bag_sheet(bag_row())
    sheet = desk.upload(content)
    answer = page(desk.world, sheet, "original/")
    assert answer.content == content
    assert answer.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("layout", ["bags", "cells"])
@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_template_is_a_sheet_of_its_layout(
    desk: Desk, layout: str, kind: str
) -> None:
    answer = desk.world.client("lab").get(
        desk.world.url(f"sheets/layouts/{layout}.{kind}")
    )
    sheet = desk.upload(answer.content, f"template.{kind}")
    assert (sheet.state, sheet.layout) == ("checked", layout)
    # The example's block and bag are nobody's; nothing else is wrong with it.
    expected = "unknown-block" if layout == "bags" else "unknown-bag"
    assert desk.codes(sheet) == [expected]
    assert sheet.summary["questions"] == []


def test_the_workbook_explains_every_column_and_keeps_zeros(world: World) -> None:
    answer = world.client("lab").get(world.url("sheets/layouts/bags.xlsx"))
    book = load_workbook(BytesIO(answer.content))
    assert book.sheetnames == ["counts", "guide"]
    assert book["counts"].column_dimensions["A"].number_format == "@"
    explained = {row[0].value for row in book["guide"].iter_rows(min_row=2)}
    assert {"farm", "rust_mites_cells", "reading"} <= explained


def test_the_layouts_page_names_every_column_and_its_synonyms(world: World) -> None:
    text = world.client("lab").get(world.url("sheets/layouts/")).content.decode()
    for name in ("bag_label", "calepitrimerus_vitis", "thrips_cells", "dish_number"):
        assert name in text


@pytest.mark.parametrize(("role", "status"), [("consultant", 403), ("grower", 403)])
def test_those_who_do_not_count_see_no_sheets(
    desk: Desk, role: str, status: int
) -> None:
    sheet = desk.upload(bag_sheet(bag_row()))
    assert page(desk.world, sheet, role=role).status_code == status
