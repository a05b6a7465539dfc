"""Read sheets for their pages and for the sweeper."""

from dataclasses import dataclass
from datetime import datetime
from typing import cast
from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from blocks.models import Block
from monitoring.models import Sheet, SheetFinding, SheetRow
from monitoring.sheets.columns import COLUMNS, Layout, names_of, normal_name

State = Sheet.State
UNDER_WAY = (State.RECEIVED, State.READING, State.CHECKING, State.PUBLISHING)


def unfinished_sheet_ids(farm_group_id: int, *, before: datetime) -> list[int]:
    """List sheets whose step is due since before a time; 1 query."""
    return list(
        Sheet.objects.for_group(farm_group_id)
        .filter(state__in=UNDER_WAY, state_changed_at__lt=before)
        .values_list("pk", flat=True)
    )


def sheets_of_group(farm_group_id: int) -> QuerySet[Sheet]:
    """List the group's sheets, newest first; 1 query."""
    return (
        Sheet.objects.for_group(farm_group_id)
        .select_related("uploaded_by", "published_by")
        .order_by("-uploaded_at", "-pk")
    )


def sheet_for(farm_group_id: int, sheet_uuid: UUID) -> Sheet:
    """Give one of the group's sheets, or Http404; 1 query."""
    return get_object_or_404(sheets_of_group(farm_group_id), uuid=sheet_uuid)


def sheets_under_way(farm_group_id: int) -> QuerySet[Sheet]:
    """Find the group's sheets that are being worked on; 1 query."""
    return Sheet.objects.for_group(farm_group_id).filter(state__in=UNDER_WAY)


def findings_of(sheet: Sheet) -> QuerySet[SheetFinding]:
    """List a sheet's findings, errors first, in the order of its rows; 1 query."""
    return (
        SheetFinding.objects.for_group(sheet.farm_group_id)
        .filter(sheet=sheet)
        .order_by("level", "row_number", "pk")
    )


@dataclass(frozen=True, slots=True)
class RowField:
    """One field of a row as it is edited on the page."""

    heading: str
    value: str
    original: str
    sentences: list[str]


@dataclass(frozen=True, slots=True)
class FaultyRow:
    """A row with its fields and what is wrong with it."""

    number: int
    left_out: bool
    fields: list[RowField]
    sentences: list[str]


def faulty_rows(sheet: Sheet, *, at_most: int) -> list[FaultyRow]:
    """Give the first rows with errors, and those left out, for editing; 2 queries."""
    errors = list(
        SheetFinding.objects.for_group(sheet.farm_group_id)
        .filter(sheet=sheet, level="error", row_number__isnull=False)
        .order_by("row_number", "pk")[: at_most * 4]
    )
    numbers = list(dict.fromkeys(finding.row_number for finding in errors))[:at_most]
    rows = SheetRow.objects.for_group(sheet.farm_group_id).filter(sheet=sheet)
    found = list(rows.filter(number__in=numbers).order_by("number"))
    found += list(rows.filter(left_out=True).exclude(number__in=numbers)[:at_most])
    return [
        _faulty(row, sheet, [e for e in errors if e.row_number == row.number])
        for row in sorted(found, key=lambda row: row.number)
    ]


def _faulty(row: SheetRow, sheet: Sheet, errors: list[SheetFinding]) -> FaultyRow:
    header: list[str] = sheet.header
    layout = cast("Layout", sheet.layout)
    now = row.corrected or row.fields
    width = max(len(header), len(now))
    headings = header + [f"further field {i + 1}" for i in range(width - len(header))]
    values = now + [""] * (width - len(now))
    originals = row.fields + [""] * (width - len(row.fields))
    fields = [
        RowField(
            heading,
            value,
            original,
            [e.sentence for e in errors if _same(e.column, heading, layout)],
        )
        for heading, value, original in zip(headings, values, originals, strict=True)
    ]
    told = {sentence for one in fields for sentence in one.sentences}
    return FaultyRow(
        row.number,
        row.left_out,
        fields,
        [e.sentence for e in errors if e.sentence not in told],
    )


def _same(column: str, heading: str, layout: Layout) -> bool:
    name = normal_name(heading)
    return column == heading or column in {name, names_of(COLUMNS[layout]).get(name)}


def blocks_of_sheet(sheet: Sheet) -> QuerySet[Block]:
    """List the blocks whose bags a published sheet brought; 1 query."""
    return (
        Block.objects.for_group(sheet.farm_group_id)
        .filter(rounds__bags__washes__tallies__source_sheet=sheet)
        .select_related("farm")
        .order_by("farm__name", "name")
        .distinct()
    )


def faulty_numbers(sheet: Sheet) -> list[int]:
    """List the numbers of all rows that have an error; 1 query."""
    return list(
        SheetFinding.objects.for_group(sheet.farm_group_id)
        .filter(sheet=sheet, level="error", row_number__isnull=False)
        .values_list("row_number", flat=True)
        .distinct()
    )
