"""Check the values that a device tells, one at a time, in words.

A check takes a value and says what was wanted in its place, or nothing.
"""

import json
import math
import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Any, Final
from uuid import UUID

Check = Callable[[object], str]

KEY: Final = re.compile(r"[0-9a-fA-F]{8}(?:-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
MOMENT: Final = re.compile(
    r"\d{4}-\d\d-\d\dT\d\d:\d\d(?::\d\d(?:\.\d{1,9})?)?(?:Z|[+-]\d\d:\d\d)"
)
# As cells of a dish are named: letters of the column, number of the row.
CELL: Final = re.compile(r"[A-Z]{1,2}[1-9][0-9]{0,2}")
ROW: Final = re.compile(r"row [1-9][0-9]{0,2}")
# Devices whose clock lost its battery begin in some year long past; none is older.
FIRST_YEAR, LAST_YEAR = 1900, 2999
LARGEST = 2**63 - 1
DEEPEST = 6
SHOWN = 40


def as_key(value: object) -> UUID | None:
    """Read a UUID as devices write it, with its dashes; None for anything else."""
    return UUID(value) if isinstance(value, str) and KEY.fullmatch(value) else None


def as_moment(value: object) -> datetime | None:
    """Read a date and time with its zone; None for anything else."""
    if not (isinstance(value, str) and MOMENT.fullmatch(value)):
        return None
    try:
        moment = datetime.fromisoformat(value).astimezone(UTC)
    except (ValueError, OverflowError):
        return None
    return moment if FIRST_YEAR <= moment.year <= LAST_YEAR else None


def as_whole(value: object) -> int | None:
    """Read a whole number; None for anything else, True and False included."""
    return value if isinstance(value, int) and not isinstance(value, bool) else None


def is_storable(text: str) -> bool:
    """Tell whether PostgreSQL can keep a text: no NUL, no half of a character."""
    return "\0" not in text and not any("\ud800" <= one <= "\udfff" for one in text)


def shown(value: object) -> str:
    """Write a value for a sentence, shortly and in plain letters."""
    if isinstance(value, Mapping):
        return "a group of values"
    if isinstance(value, list):
        return "a list"
    if value is None:
        return "nothing"
    if isinstance(value, int) and abs(value) > LARGEST:
        return "a number too large to keep"
    text = json.dumps(value[:SHOWN] if isinstance(value, str) else value)
    return text if len(text) <= SHOWN else f"{text[: SHOWN - 3]}..."


def why_not_storable(value: object) -> str:
    """Say what in a value cannot be kept at all; nothing where all can."""
    waiting: list[tuple[object, int]] = [(value, 1)]
    while waiting:
        one, depth = waiting.pop()
        if isinstance(one, dict | list):
            if depth > DEEPEST:
                return f"it is nested more than {DEEPEST} deep"
            inside = one if isinstance(one, list) else [*one, *one.values()]
            waiting += [(deeper, depth + 1) for deeper in inside]
        elif wrong := _why_not_kept(one):
            return wrong
    return ""


def _why_not_kept(one: object) -> str:
    wrong = ""
    if isinstance(one, str) and not is_storable(one):
        wrong = "a text in it holds a character that cannot be kept"
    elif isinstance(one, float) and not math.isfinite(one):
        wrong = "a number in it is not finite"
    elif isinstance(one, int) and abs(one) > LARGEST:
        wrong = "a number in it is too large to keep"
    return wrong


def key(value: object) -> str:
    """Want a UUID as RFC 9562 writes it; keys in payloads are compared as text."""
    read = as_key(value)
    return "" if read and str(read) == value else "a key (UUID) in small letters"


def moment(value: object) -> str:
    """Want a date and time."""
    return "" if as_moment(value) else "a date and time with its zone"


def flag(value: object) -> str:
    """Want true or false."""
    return "" if isinstance(value, bool) else "true or false"


def cell(value: object) -> str:
    """Want a cell of the dish."""
    return "" if _matches(CELL, value) else "a cell such as H7"


def row(value: object) -> str:
    """Want a row of the dish."""
    return "" if _matches(ROW, value) else "a row such as 'row 7'"


def place(value: object) -> str:
    """Want a cell or a row of the dish."""
    fits = _matches(CELL, value) or _matches(ROW, value)
    return "" if fits else "a cell such as H7 or a row such as 'row 7'"


def _matches(pattern: re.Pattern[str], value: object) -> bool:
    return isinstance(value, str) and pattern.fullmatch(value) is not None


def text(most: int) -> Check:
    """Want a text of at most so many characters; an empty one will do."""

    def check(value: object) -> str:
        fits = isinstance(value, str) and len(value) <= most
        return "" if fits else f"a text of at most {most:,} characters"

    return check


def digest(length: int) -> Check:
    """Want so many hexadecimal digits."""
    pattern = re.compile(f"[0-9a-f]{{{length}}}")
    return lambda value: (
        "" if _matches(pattern, value) else f"{length} hexadecimal digits"
    )


def whole(low: int, high: int) -> Check:
    """Want a whole number between two."""

    def check(value: object) -> str:
        given = as_whole(value)
        fits = given is not None and low <= given <= high
        return "" if fits else f"a whole number from {low:,} to {high:,}"

    return check


def number(low: float, high: float, *, above: bool = False) -> Check:
    """Want a number between two; `above` leaves the lower end itself out."""

    def check(value: object) -> str:
        fits = (
            isinstance(value, int | float)
            and not isinstance(value, bool)
            and low <= value <= high
            and not (above and value == low)
        )
        return "" if fits else f"a number from {low:,g} to {high:,g}"

    return check


def choice(*names: str) -> Check:
    """Want one of some words."""
    return lambda value: "" if value in names else " or ".join(names)


def maybe(check: Check) -> Check:
    """Want nothing, or what the check wants."""
    return lambda value: "" if value is None else check(value)


def many(check: Check, most: int) -> Check:
    """Want a list, not empty, of what the check wants."""

    def check_all(value: object) -> str:
        if not isinstance(value, list) or not 1 <= len(value) <= most:
            return f"a list of 1 to {most:,}"
        return next((f"a list of {why}" for one in value if (why := check(one))), "")

    return check_all


def group(**fields: Check) -> Check:
    """Want a group of named values."""

    def check(value: object) -> str:
        why = why_not_fields(value, fields) if isinstance(value, dict) else "missing"
        return f"a group with {', '.join(fields)}" if why else ""

    return check


def why_not_fields(values: Mapping[str, Any], fields: Mapping[str, Check]) -> str:
    """Say which named value is wrong and what was wanted; nothing if all are right."""
    for name, check in fields.items():
        wanted = check(values.get(name))
        if wanted:
            return f"{name} is {shown(values.get(name))}, not {wanted}"
    return ""
