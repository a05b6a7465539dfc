"""Send rows to PostgreSQL by COPY, in its text format."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import islice
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
    rows = iter(rows)
    while batch := list(islice(rows, BLOCK_ROWS)):
        columns = [_texts(values) for values in zip(*batch, strict=True)]
        yield "\n".join(map("\t".join, zip(*columns, strict=True))) + "\n"


def _texts(values: Sequence[Any]) -> Iterable[str]:
    """Write a column's values; each distinct one is written once."""
    kinds = set(map(type, values)) - {type(None)}
    if kinds == {int} and None not in values:
        return map(str, values)
    # Values of different types may be equal and yet be written differently.
    if len(kinds) > 1 or list in kinds:
        return [_field(value) for value in values]
    written = {value: _field(value) for value in set(values)}
    return [written[value] for value in values]


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
