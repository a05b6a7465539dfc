"""Files that go back to the person: templates, annotated sheets, findings."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from io import BytesIO, StringIO

from openpyxl.utils import get_column_letter
from openpyxl.workbook import Workbook

from monitoring.models import Sheet, SheetFinding, SheetRow
from monitoring.sheets.columns import (
    CELLS_SUFFIX,
    COLUMNS,
    ORGANISM_SYNONYMS,
    Column,
    Layout,
)
from monitoring.sheets.reading.limits import GUIDE

# A spreadsheet takes a text that begins so for a formula, and would run it.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
FINDINGS_HEADING = "what_to_mend"
OPTIONAL_IN_TEMPLATE = frozenset({"farm", "units", "wash", "dish_number", "reading"})


def harmless(text: str) -> str:
    """Write a text so that no spreadsheet runs it; plain negative numbers stay."""
    if not text.startswith(FORMULA_SIGNS):
        return text
    try:
        float(text)
    except ValueError:
        return f"'{text}"
    return text


def layout_columns(layout: Layout, organisms: Sequence[str]) -> list[Column]:
    """Give the columns of a layout with the group's organisms in their place."""
    columns = list(COLUMNS[layout])
    if layout == "cells":
        return columns
    # Counts stand before who judged or counted.
    after = {"symptoms", "analyst"}
    place = next(i for i, column in enumerate(columns) if column.name in after)
    counts = []
    for code in organisms:
        name = code.replace("_", " ")
        counts += [
            Column(
                code,
                f"{name.capitalize()} counted; empty is not counted.",
                "3",
                ORGANISM_SYNONYMS.get(code, ()),
            ),
            Column(
                code + CELLS_SUFFIX,
                "Empty: whole dish. 12: twelve random cells. C4 D7 E2: those cells.",
                "",
            ),
        ]
    return columns[:place] + counts + columns[place:]


def template_csv(layout: Layout, organisms: Sequence[str]) -> bytes:
    """Write an empty sheet of a layout, with an example row to write over."""
    columns = [
        column
        for column in layout_columns(layout, organisms)
        if column.name not in OPTIONAL_IN_TEMPLATE
    ]
    return csv_bytes(
        [
            [column.name for column in columns],
            [column.example for column in columns],
        ]
    )


def csv_bytes(rows: Iterable[Sequence[str]]) -> bytes:
    """Write rows as CSV that spreadsheets open with the right letters."""
    text = StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue().encode("utf-8-sig")


def template_xlsx(layout: Layout, organisms: Sequence[str]) -> bytes:
    """Write the same template as a workbook, all cells as text, with a guide."""
    columns = [
        column
        for column in layout_columns(layout, organisms)
        if column.name not in OPTIONAL_IN_TEMPLATE
    ]
    book = Workbook(write_only=True)
    sheet = book.create_sheet("counts")
    for place in range(1, len(columns) + 1):
        # As text, so that 0012 stays 0012 and MAR-1 does not become a day.
        sheet.column_dimensions[get_column_letter(place)].number_format = "@"
    sheet.append([column.name for column in columns])
    sheet.append([column.example for column in columns])
    guide = book.create_sheet(GUIDE)
    guide.append(["column", "required", "what it holds", "example"])
    for column in layout_columns(layout, organisms):
        required = "required" if column.required else ""
        guide.append([column.name, required, column.holds, column.example])
    output = BytesIO()
    book.save(output)
    return output.getvalue()


def annotated(sheet: Sheet) -> Iterator[bytes]:
    """Write the whole sheet as it stands now, with what is wrong in a last column.

    Sent again, the last column is kept with the file and not used.
    """
    group_id = sheet.farm_group_id
    sentences: dict[int, list[str]] = {}
    for finding in SheetFinding.objects.for_group(group_id).filter(
        sheet=sheet, row_number__isnull=False
    ):
        told = (
            f"{finding.column}: {finding.sentence}"
            if finding.column
            else (finding.sentence)
        )
        sentences.setdefault(finding.row_number, []).append(told)
    yield csv_bytes([[*map(harmless, sheet.header), FINDINGS_HEADING]])
    rows = SheetRow.objects.for_group(group_id).filter(sheet=sheet).order_by("number")
    width = len(sheet.header)
    for row in rows.iterator(chunk_size=2000):
        fields = (row.corrected or row.fields)[:width]
        fields += [""] * (width - len(fields))
        told = [" ".join(sentences.get(row.number, []))]
        if row.left_out:
            told = ["left out"]
        yield csv_bytes([[*map(harmless, fields), *told]]).removeprefix(
            "\ufeff".encode()
        )


def findings_csv(sheet: Sheet) -> Iterator[bytes]:
    """Write all findings, one a row."""
    yield csv_bytes([["row", "column", "level", "seen", "sentence"]])
    findings = (
        SheetFinding.objects.for_group(sheet.farm_group_id)
        .filter(sheet=sheet)
        .order_by("row_number", "pk")
    )
    for finding in findings.iterator(chunk_size=2000):
        row = [
            str(finding.row_number or ""),
            finding.column,
            finding.level,
            harmless(finding.seen),
            finding.sentence,
        ]
        yield csv_bytes([row]).removeprefix("\ufeff".encode())
