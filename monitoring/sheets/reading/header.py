"""Find the header row, tell the layout, and say which column is which."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitoring.sheets.columns import (
    BAG_COLUMNS,
    BLANK_COLUMNS,
    CELL_COLUMNS,
    CELLS_SUFFIX,
    COLUMNS,
    Layout,
    names_of,
    normal_name,
)
from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.reading.limits import COLUMNS as MOST_COLUMNS
from monitoring.sheets.reading.limits import HEADER_WITHIN_ROWS

# A row with this many known headings is taken for the header.
ENOUGH_HEADINGS = 3
BAG_NAMES, CELL_NAMES = names_of(BAG_COLUMNS), names_of(CELL_COLUMNS)
BLANK_NAMES = names_of(BLANK_COLUMNS)
NAMES: dict[Layout, dict[str, str]] = {
    "bags": BAG_NAMES,
    "cells": CELL_NAMES,
    "blanks": BLANK_NAMES,
}
ORGANISM_CODE = re.compile(r"[a-z][a-z0-9_]{0,39}")
Row = tuple[int, list[str]]


@dataclass(frozen=True, slots=True)
class Header:
    """The header row, and which field is which column.

    columns: index in the row for each known column; organisms as their codes.
    unknown_organisms: columns that come as a pair `x`, `x_cells` and are not known.
    """

    row: int
    layout: Layout
    headings: tuple[str, ...]
    columns: dict[str, int]
    unknown_organisms: tuple[str, ...]
    findings: tuple[Finding, ...]


def find_header(first_rows: Sequence[Row], organisms: Mapping[str, str]) -> Header:
    """Look for the header within the first rows; or UnreadableSheetError.

    organisms: the group's organism codes by accepted heading.
    """
    if not first_rows:
        raise UnreadableSheetError(
            "no-rows", "The file holds no row at all. Send the file with its rows."
        )
    for index, (number, fields) in enumerate(first_rows[:HEADER_WITHIN_ROWS]):
        headings = [normal_name(field) for field in fields]
        known = sum(
            any(name in names for names in (*NAMES.values(), organisms))
            for name in headings
        )
        if known >= ENOUGH_HEADINGS:
            if len(fields) > MOST_COLUMNS:
                raise UnreadableSheetError(
                    "too-many-columns",
                    f"Row {number} has {len(fields)} columns; at most {MOST_COLUMNS}"
                    " are read. Leave out the columns that no layout has.",
                )
            return _understand(number, fields, organisms, lines_above=index)
    seen = ", ".join(field for field in first_rows[0][1][:8] if field) or "nothing"
    raise UnreadableSheetError(
        "no-header",
        f"No header row was found within the first {HEADER_WITHIN_ROWS} rows; the first"
        f" one holds: {seen}. The sheet needs one row a bag (or a cell) under headings"
        " such as bag, block, collected_on. Download a template and copy the counts"
        " into it.",
    )


def _layout_of(headings: Sequence[str]) -> Layout:
    cells = {CELL_NAMES.get(name) for name in headings}
    bags = {BAG_NAMES.get(name) for name in headings}
    blanks = {BLANK_NAMES.get(name) for name in headings}
    if "blank" in blanks and not {"bag", "tissue"} & bags:
        return "blanks"
    if {"cell", "count"} <= cells and "block" not in bags:
        return "cells"
    return "bags"


def _understand(
    number: int,
    fields: Sequence[str],
    organisms: Mapping[str, str],
    *,
    lines_above: int,
) -> Header:
    headings = [normal_name(field) for field in fields]
    layout = _layout_of(headings)
    known = dict(NAMES[layout])
    if layout != "cells":
        known |= _organism_headings(organisms)
    columns = _place(number, fields, headings, known)
    missing = [
        column.name
        for column in COLUMNS[layout]
        if column.required and column.name not in columns
    ]
    missing += [
        code
        for code in dict.fromkeys(organisms.values())
        if code + CELLS_SUFFIX in columns and code not in columns
    ]
    if missing:
        raise UnreadableSheetError(
            "missing-column",
            f"The header in row {number} lacks {', '.join(missing)}; it has"
            f" {', '.join(field for field in fields if field)}. Add what is missing.",
        )
    unknown = _unknown_organisms(headings, known) if layout != "cells" else ()
    used = {*known, *unknown, *(name + CELLS_SUFFIX for name in unknown)}
    findings = _remarks(number, fields, headings, used)
    if lines_above:
        findings.insert(
            0,
            Finding(
                "warning",
                "lines-above-header",
                f"The header was found in row {number}; {lines_above} rows above it"
                " were left out.",
                row=number,
            ),
        )
    return Header(number, layout, tuple(fields), columns, unknown, tuple(findings))


def _organism_headings(organisms: Mapping[str, str]) -> dict[str, str]:
    return {
        heading + suffix: code + suffix
        for heading, code in organisms.items()
        for suffix in ("", CELLS_SUFFIX)
    }


def _place(
    number: int,
    fields: Sequence[str],
    headings: Sequence[str],
    known: Mapping[str, str],
) -> dict[str, int]:
    columns: dict[str, int] = {}
    for index, name in enumerate(headings):
        column = known.get(name)
        if column is None:
            continue
        if column in columns:
            first = fields[columns[column]]
            raise UnreadableSheetError(
                "column-twice",
                f"In row {number} both “{first}” and “{fields[index]}” mean {column}."
                " Keep one of them, or rename the other.",
            )
        columns[column] = index
    return columns


def _unknown_organisms(
    headings: Sequence[str], known: Mapping[str, str]
) -> tuple[str, ...]:
    """Find columns that come as a pair, as an organism's do."""
    present = set(headings)
    return tuple(
        dict.fromkeys(
            name
            for name in headings
            if name
            and name not in known
            and name + CELLS_SUFFIX in present
            and ORGANISM_CODE.fullmatch(name)
        )
    )


def _remarks(
    number: int, fields: Sequence[str], headings: Sequence[str], used: set[str]
) -> list[Finding]:
    return [
        Finding(
            "warning",
            "unknown-column",
            f"The column “{field}” is not one of this layout; it is kept with the file"
            f" and not used. If it counts an organism, add {name}{CELLS_SUFFIX} beside"
            " it.",
            row=number,
            column=field,
        )
        for field, name in zip(fields, headings, strict=True)
        if name and name not in used
    ]
