"""Which column of a weather file is which, and in what unit its heading says it is."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.sheets.columns import normal_name
from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.reading.limits import HEADER_WITHIN_ROWS

Row = tuple[int, list[str]]
DATE_NAMES = frozenset(
    [
        "date",
        "day",
        "datum",
        "measured_on",
        "observed_on",
        "observation_date",
        "obs_date",
        "local_date",
        "datetime",
        "time",
        "timestamp",
    ]
)
QUALITY_NAMES = frozenset(
    ["quality", "flag", "quality_flag", "qc", "qc_flag", "status", "data_quality"]
)
STATION_NAMES = frozenset(
    ["station", "station_name", "station_id", "site", "location", "logger"]
)
# Words that may stand beside “min” or “max” without changing what it means.
BESIDE = frozenset(
    [
        "t",
        "temp",
        "temps",
        "temperature",
        "temperatures",
        "air",
        "daily",
        "of",
        "day",
        "the",
        "ta",
        "lowest",
        "highest",
    ]
)
LOWEST = frozenset(["min", "minimum", "tmin", "mint", "tn", "low", "lowest", "mintemp"])
HIGHEST = frozenset(
    ["max", "maximum", "tmax", "maxt", "tx", "high", "highest", "maxtemp"]
)
CELSIUS = frozenset(["c", "degc", "deg_c", "celsius", "centigrade"])
FAHRENHEIT = frozenset(["f", "degf", "deg_f", "fahrenheit"])
UNIT_WORDS = CELSIUS | FAHRENHEIT | {"deg", "degree", "degrees"}
EXAMPLE = (
    "The file needs a row a day under headings such as date, minimum, maximum and,"
    " where known, quality."
)


@dataclass(frozen=True, slots=True)
class WeatherHeader:
    """The header row of a weather file; `units` are those its headings name."""

    row: int
    width: int
    places: dict[str, int]
    units: frozenset[str]
    unused: tuple[str, ...]


def _unit_of(words: Sequence[str]) -> str:
    if any(word in FAHRENHEIT for word in words):
        return "F"
    return "C" if any(word in CELSIUS for word in words) else ""


def _column_of(heading: str) -> tuple[str, str]:
    """Give what a heading means, empty if nothing, and the unit it names."""
    if heading in DATE_NAMES:
        return "date", ""
    if heading in QUALITY_NAMES:
        return "quality", ""
    if heading in STATION_NAMES:
        return "station", ""
    words = [word for word in heading.split("_") if word]
    bare = [word for word in words if word not in UNIT_WORDS]
    for column, names in (("minimum", LOWEST), ("maximum", HIGHEST)):
        if any(word in names for word in bare) and all(
            word in names or word in BESIDE for word in bare
        ):
            return column, _unit_of(words)
    return "", ""


def find_weather_header(first_rows: Sequence[Row]) -> WeatherHeader:
    """Look for the header within the first rows; or UnreadableSheetError."""
    if not first_rows:
        raise UnreadableSheetError(
            "no-rows", "The file holds no row at all. Send the file with its rows."
        )
    for number, fields in first_rows[:HEADER_WITHIN_ROWS]:
        meanings = [_column_of(normal_name(field)) for field in fields]
        found = [column for column, _ in meanings if column]
        if {"date", "minimum", "maximum"} <= set(found):
            return _understood(number, fields, meanings)
    seen = ", ".join(field for field in first_rows[0][1][:8] if field) or "nothing"
    raise UnreadableSheetError(
        "no-header",
        f"No row within the first {HEADER_WITHIN_ROWS} has headings for the date, the"
        f" lowest and the highest temperature; the first one holds: {seen}. {EXAMPLE}",
    )


def _understood(
    number: int, fields: Sequence[str], meanings: Sequence[tuple[str, str]]
) -> WeatherHeader:
    places: dict[str, int] = {}
    for index, (column, _) in enumerate(meanings):
        if not column:
            continue
        if column in places:
            raise UnreadableSheetError(
                "column-twice",
                f"In row {number} both “{fields[places[column]]}” and"
                f" “{fields[index]}” mean the {column}. Keep one of them, or rename"
                " the other.",
            )
        places[column] = index
    return WeatherHeader(
        row=number,
        width=len(fields),
        places=places,
        units=frozenset(unit for _, unit in meanings if unit),
        unused=tuple(
            field.strip()
            for field, (column, _) in zip(fields, meanings, strict=True)
            if field.strip() and not column
        ),
    )


def header_remarks(header: WeatherHeader) -> list[Finding]:
    """Say which columns are not used."""
    if not header.unused:
        return []
    return [
        Finding(
            "warning",
            "unused-columns",
            f"Not used: {', '.join(header.unused[:12])}. The file is kept as it came.",
            row=header.row,
        )
    ]


UNIT_CELL = re.compile(
    r"\(?\s*(?:deg\.?|degrees?|°)?\s*([CF])[a-z]*\s*\)?", re.IGNORECASE
)


def unit_of_row(header: WeatherHeader, fields: Sequence[str]) -> str:
    """Give the unit that a row of units beneath the headings names; else empty."""
    named = set()
    for column in ("minimum", "maximum"):
        index = header.places[column]
        text = fields[index].strip() if index < len(fields) else ""
        match = UNIT_CELL.fullmatch(text)
        if match is None:
            return ""
        named.add(match[1].upper())
    return named.pop() if len(named) == 1 else ""
