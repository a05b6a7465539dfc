"""Make workbooks, good ones and odd ones, for tests."""

import zipfile
from collections.abc import Callable, Sequence
from datetime import date
from io import BytesIO
from typing import Any

from openpyxl import Workbook

HEADER = ["bag", "block", "collected_on", "tissue", "position", "rust_mites"]


def usual_row(**values: Any) -> list[Any]:
    row = {
        "bag": "1",
        "block": "Block 0",
        "collected_on": date(2026, 8, 14),
        "tissue": "leaf",
        "position": "mid",
        "rust_mites": 3,
    } | values
    return [row[name] for name in HEADER]


def workbook(
    *rows: Sequence[Any],
    change: Callable[[Workbook], object] | None = None,
    header: Sequence[str] = HEADER,
) -> bytes:
    book = Workbook()
    sheet = book.active
    sheet.append(list(header))
    for row in rows or [usual_row()]:
        sheet.append(list(row))
    if change is not None:
        change(book)
    output = BytesIO()
    book.save(output)
    return output.getvalue()


def with_part(content: bytes, name: str, alter: Callable[[bytes], bytes]) -> bytes:
    """Rewrite one part of a workbook, or add it."""
    output = BytesIO()
    with (
        zipfile.ZipFile(BytesIO(content)) as old,
        zipfile.ZipFile(output, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for entry in old.namelist():
            part = old.read(entry)
            new.writestr(entry, alter(part) if entry == name else part)
        if name not in old.namelist():
            new.writestr(name, alter(b""))
    return output.getvalue()
