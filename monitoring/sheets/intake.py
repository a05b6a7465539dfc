"""Read a sheet's stored file into rows."""

import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import chain, islice
from pathlib import Path
from typing import Any

from django.db import connection, transaction

from monitoring.models import Sheet, SheetRow
from monitoring.sheets.checking.context import organism_headings
from monitoring.sheets.copying import copy_rows
from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.known import organism_names
from monitoring.sheets.reading.header import Header, Row, find_header
from monitoring.sheets.reading.kinds import kind_of
from monitoring.sheets.reading.limits import HEADER_WITHIN_ROWS, ROWS
from monitoring.sheets.reading.text import format_of, text_rows
from monitoring.sheets.reading.workbook import Workbook, open_workbook

WORKSHEETS_TRIED = 10
LAST_ROW = ROWS + HEADER_WITHIN_ROWS


@contextmanager
def opened(
    path: Path, worksheet: str
) -> Iterator[tuple[dict[str, Any], list[Finding], Iterator[Row]]]:
    """Give what is known of the file, findings about it, and its rows."""
    if kind_of(path) == "text":
        form = format_of(path)
        about = {
            "kind": "text",
            "encoding": form.encoding,
            "delimiter": form.delimiter,
            "decimal_comma": form.delimiter != ",",
            "epoch_1904": None,
        }
        yield about, list(form.findings), text_rows(path, form)
        return
    with open_workbook(path, worksheet) as (book, rows):
        yield _about(book), list(book.findings), rows


def _about(book: Workbook) -> dict[str, Any]:
    return {
        "kind": "workbook",
        "worksheets": book.worksheets,
        "worksheet": book.worksheet,
        "epoch_1904": book.epoch_1904,
        "hidden_rows": sorted(book.hidden_rows),
        "formulas_without_value": sorted(book.formulas_without_value),
        "merged": list(book.merged),
    }


def read_into_rows(sheet: Sheet, path: Path) -> tuple[Header, list[Finding]]:
    """Copy the file's rows into SheetRow; the sheet is changed, not saved.

    Of a workbook that worksheet is read which the person chose, else the first that
    holds a count sheet. Raises UnreadableSheetError. Runs inside the caller's
    transaction.
    """
    chosen = sheet.answers.get("worksheet", "")
    try:
        with transaction.atomic():
            return _read_one(sheet, path, chosen)
    except OtherWorksheetsError as refused:
        sheet.answers.pop("worksheet", None)
        for name in refused.others[:WORKSHEETS_TRIED]:
            with suppress(UnreadableSheetError), transaction.atomic():
                header, findings = _read_one(sheet, path, name)
                told = f"The worksheet “{refused.worksheet}” was left: {refused}"
                return header, [*findings, Finding("warning", "worksheet-left", told)]
        raise


class OtherWorksheetsError(UnreadableSheetError):
    """This worksheet holds no count sheet, but the workbook has others."""

    def __init__(self, refused: UnreadableSheetError, about: dict[str, Any]) -> None:
        super().__init__(refused.code, refused.sentence)
        self.worksheet = about["worksheet"]
        self.others = [name for name in about["worksheets"] if name != self.worksheet]


def _header_of(
    first: list[Row], organisms: dict[str, str], about: dict[str, Any]
) -> Header:
    try:
        return find_header(first, organisms)
    except UnreadableSheetError as refused:
        if len(about.get("worksheets", ())) > 1:
            raise OtherWorksheetsError(refused, about) from refused
        raise


def _read_one(sheet: Sheet, path: Path, worksheet: str) -> tuple[Header, list[Finding]]:
    organisms = organism_headings(organism_names(sheet.farm_group_id))
    with opened(path, worksheet) as (about, findings, rows):
        first = list(islice(rows, HEADER_WITHIN_ROWS))
        header = _header_of(first, organisms, about)
        below = (row for row in chain(first, rows) if row[0] > header.row)
        SheetRow.objects.for_group(sheet.farm_group_id).filter(sheet=sheet).delete()
        _store(sheet, below)
    sheet.layout = header.layout
    sheet.header = list(header.headings)
    sheet.rows_total = (
        SheetRow.objects.for_group(sheet.farm_group_id).filter(sheet=sheet).count()
    )
    if sheet.rows_total == 0:
        raise UnreadableSheetError(
            "only-header",
            f"The sheet has a header in row {header.row} and no row below it.",
        )
    sheet.summary = {**about, "header_row": header.row}
    sheet.summary["broken_cells"] = _by_row(about, header)
    sheet.summary["merged_rows"] = _merged_rows(about, header)
    return header, [*findings, *header.findings]


def _store(sheet: Sheet, rows: Iterator[Row]) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS staged_raw")
        cursor.execute(
            "CREATE TEMP TABLE staged_raw (number integer, fields text[])"
            " ON COMMIT DROP"
        )
    copy_rows("staged_raw", ("number", "fields"), _limited(rows))
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO monitoring_sheetrow"
            " (farm_group_id, sheet_id, number, fields, left_out)"
            " SELECT %s, %s, number, fields, false FROM staged_raw ORDER BY number",
            [sheet.farm_group_id, sheet.pk],
        )
        cursor.execute("DROP TABLE staged_raw")


def _limited(rows: Iterator[Row]) -> Iterator[Row]:
    for taken, row in enumerate(rows, start=1):
        if taken > ROWS:
            raise UnreadableSheetError(
                "too-many-rows",
                f"The sheet has more than {ROWS:,} rows. Split it by date and send the"
                " parts.",
            )
        yield row


def _merged_rows(about: dict[str, Any], header: Header) -> dict[int, list[str]]:
    """Give the ranges of merged cells by row; those above the rows are a title's."""
    found: dict[int, list[str]] = {}
    for name in about.get("merged", []):
        ends = [int(digits) for digits in re.findall(r"[0-9]+", name)]
        for row in range(max(ends[0], header.row + 1), min(ends[-1], LAST_ROW) + 1):
            found.setdefault(row, []).append(name)
    return found


def _by_row(about: dict[str, Any], header: Header) -> dict[str, list[str]]:
    """Turn names of cells without a value into row numbers and column headings."""
    found: dict[str, list[str]] = {}
    for name in about.get("formulas_without_value", []):
        letters = name.rstrip("0123456789")
        column = 0
        for letter in letters:
            column = column * 26 + ord(letter) - ord("A") + 1
        heading = (
            header.headings[column - 1] if column <= len(header.headings) else letters
        )
        found.setdefault(name[len(letters) :], []).append(heading)
    return found
