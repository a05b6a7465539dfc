"""Open a stored weather file, find its header, and read its days."""

from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from itertools import chain, islice
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from monitoring.sheets.checking.days import SLASH_DATES
from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.intake import opened
from monitoring.sheets.reading.limits import HEADER_WITHIN_ROWS
from monitoring.weather.checking import About, ReadWeather, check_weather
from monitoring.weather.columns import Row, find_weather_header, header_remarks

# Fifty years of days take less than 2 MB.
FILE_BYTES = 5 * 1024 * 1024
WORKSHEETS_TRIED = 10


def read_weather(
    path: Path, *, unit: str, answers: dict[str, str], today: date, zone: ZoneInfo
) -> ReadWeather:
    """Read a weather file; or UnreadableSheetError.

    Of a workbook the first worksheet is read that has the headings.
    """
    if path.stat().st_size > FILE_BYTES:
        raise UnreadableSheetError(
            "file-too-large",
            f"The file has {path.stat().st_size / 1e6:.0f} MB; daily weather of fifty"
            " years has less than 5. Send a row a day.",
        )
    told = {"unit": unit, "today": today, "zone": zone}
    told["slash_answer"] = answers.get(SLASH_DATES)
    others: list[str] = []
    try:
        return _read_one(path, "", told, others)
    except UnreadableSheetError as refused:
        if refused.code != "no-header":
            raise
        for name in others[:WORKSHEETS_TRIED]:
            with suppress(UnreadableSheetError):
                return _read_one(path, name, told, [])
        raise


def _read_one(
    path: Path, worksheet: str, told: dict[str, Any], others: list[str]
) -> ReadWeather:
    with opened(path, worksheet) as (file, findings, rows):
        others += [
            name for name in file.get("worksheets", ()) if name != file.get("worksheet")
        ]
        first: list[Row] = list(islice(rows, HEADER_WITHIN_ROWS))
        header = find_weather_header(first)
        below = (row for row in chain(first, rows) if row[0] > header.row)
        about = About(epoch_1904=file["epoch_1904"], **told)
        found = check_weather(header, below, about)
    found.findings[:0] = [*findings, *header_remarks(header), *_unsaved(file)]
    return found


def _unsaved(file: dict[str, Any]) -> Iterator[Finding]:
    """Say where a workbook's formulas have no value, as those days would be missing."""
    cells = file.get("formulas_without_value", [])
    if cells:
        yield Finding(
            "warning",
            "formula-without-value",
            f"{len(cells)} cells hold a formula whose value was not saved, such as"
            f" {cells[0]}: they were read as missing. Save the workbook in a"
            " spreadsheet program, or type the values.",
        )
