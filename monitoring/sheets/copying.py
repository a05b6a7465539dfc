"""Send rows to PostgreSQL by COPY, in its text format."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from django.db import connection

BLOCK_ROWS = 2_000
ESCAPES = str.maketrans({"\\": "\\\\", "\t": "\\t", "\n": "\\n", "\r": "\\r"})
IN_ARRAY = str.maketrans({"\\": "\\\\", '"': '\\"'})


def copy_rows(
    table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]
) -> None:
    """Copy rows into a table; values are text, numbers, dates, lists or None."""
    names = ", ".join(f'"{column}"' for column in columns)
    statement = f"COPY {table} ({names}) FROM STDIN"
    with connection.cursor() as cursor, cursor.copy(statement) as copy:
        for block in _blocks(rows):
            copy.write(block)


def _blocks(rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    lines = []
    for row in rows:
        lines.append("\t".join([_field(value) for value in row]))
        if len(lines) == BLOCK_ROWS:
            yield "\n".join(lines) + "\n"
            lines = []
    if lines:
        yield "\n".join(lines) + "\n"


def _field(value: Any) -> str:
    if value is None:
        return "\\N"
    if isinstance(value, str):
        return value.translate(ESCAPES)
    if isinstance(value, list):
        return _array(value).translate(ESCAPES)
    if isinstance(value, date):
        return value.isoformat()
    return str(value)


def _array(values: list[Any]) -> str:
    return "{" + ",".join([_element(value) for value in values]) + "}"


def _element(value: Any) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, str):
        return f'"{value.translate(IN_ARRAY)}"'
    return str(value)
