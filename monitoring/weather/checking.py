"""Check the rows of a weather file: days with findings, each in a sentence."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from statistics import median_low
from zoneinfo import ZoneInfo

from monitoring.sheets.checking.days import SLASH_DATES, calendar_day, slash_order
from monitoring.sheets.checking.values import AskError, FaultError, clean
from monitoring.sheets.findings import Finding, Question, UnreadableSheetError
from monitoring.weather.columns import Row, WeatherHeader, unit_of_row
from monitoring.weather.days import ReadDay
from monitoring.weather.fields import quality_of, temperature_c
from monitoring.weather.remarks import remarks_on

MOST_ROWS = 20_000
# Highest of the day in C at the median above which a file is rather in Fahrenheit: no
# vineyard has such a climate (chosen, not measured).
TOO_HOT_C = 45.0
ROWS_OF_HOURS = 3
# Numbers such as 999 stand for nothing.
LEAST_SENTINEL = 900
SLASH_QUESTION = Question(
    SLASH_DATES,
    "Dates such as 03/04/2026 can be read in two ways. Which is it?",
    (("day_first", "day first: 3 April"), ("month_first", "month first: 4 March")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is known of the file, and what the person said of it."""

    unit: str
    today: date
    zone: ZoneInfo
    slash_answer: str | None = None
    epoch_1904: bool | None = None


@dataclass(slots=True)
class ReadWeather:
    """The days that can be published, and what was found."""

    days: list[ReadDay] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    rows: int = 0
    commas: int = 0

    def faulty(self, code: str, sentence: str, row: int, column: str = "") -> None:
        """Note an error in a row."""
        self.findings.append(Finding("error", code, sentence, row, column))


def check_weather(
    header: WeatherHeader, rows: Iterable[Row], about: About
) -> ReadWeather:
    """Read all rows; or UnreadableSheetError if the file as a whole cannot be taken."""
    found = ReadWeather()
    taken = list(_limited(rows))
    taken = _without_units_row(header, taken, about)
    about = _with_slash_order(header, taken, about)
    _refuse_other_unit(header, taken, about)
    stations = {_at(header, fields, "station").casefold() for _, fields in taken}
    if len(stations - {""}) > 1:
        raise UnreadableSheetError(
            "several-stations",
            f"The file names {len(stations - {''})} stations. Send one file a station.",
        )
    found.rows = len(taken)
    if not taken:
        raise UnreadableSheetError(
            "only-header", f"The file has a header in row {header.row} and no row more."
        )
    read = [
        day
        for number, fields in taken
        if (day := _read(header, number, fields, (found, about))) is not None
    ]
    _refuse_hours(read)
    found.days = _one_a_day(read, found)
    found.findings += remarks_on(found.days, commas=found.commas, today=about.today)
    return found


def _limited(rows: Iterable[Row]) -> Iterator[Row]:
    for taken, row in enumerate(rows, start=1):
        if taken > MOST_ROWS:
            raise UnreadableSheetError(
                "too-many-rows",
                f"The file has more than {MOST_ROWS:,} rows. A row a day is wanted;"
                " send daily minima and maxima, or split the file by years.",
            )
        yield row


def _without_units_row(
    header: WeatherHeader, rows: list[Row], about: About
) -> list[Row]:
    """Take a row of units away, and refuse a unit other than the person's."""
    units = set(header.units)
    if rows and (named := unit_of_row(header, rows[0][1])):
        units.add(named)
        rows = rows[1:]
    other = units - {about.unit}
    if other:
        names = {"C": "Celsius", "F": "Fahrenheit"}
        raise UnreadableSheetError(
            "other-unit",
            f"The headings say degrees {names[other.pop()]}; you said degrees"
            f" {names[about.unit]}. Look which it is and upload the file again.",
        )
    return rows


def _with_slash_order(header: WeatherHeader, rows: list[Row], about: About) -> About:
    """Let dates that can be read in one way only tell how the others are meant."""
    if about.slash_answer:
        return about
    told = {slash_order(_at(header, fields, "date")) for _, fields in rows} - {""}
    return replace(about, slash_answer=told.pop()) if len(told) == 1 else about


def _at(header: WeatherHeader, fields: list[str], column: str) -> str:
    index = header.places.get(column)
    if index is None or index >= len(fields):
        return ""
    return clean(fields[index])[0]


def _read(
    header: WeatherHeader,
    number: int,
    fields: list[str],
    with_: tuple[ReadWeather, About],
) -> ReadDay | None:
    found, about = with_
    if any(text.strip() for text in fields[header.width :]):
        found.faulty(
            "too-many-fields",
            f"The row has {len(fields)} fields where the header has {header.width}. A"
            " decimal comma without quotation marks does that: write decimals with a"
            " point, or separate the fields by semicolons.",
            number,
        )
        return None
    column = "date"
    try:
        on = _day_of(_at(header, fields, "date"), about)
        column = "minimum"
        low = temperature_c(_at(header, fields, "minimum"), about.unit)
        column = "maximum"
        high = temperature_c(_at(header, fields, "maximum"), about.unit)
        column = "quality"
        quality = quality_of(_at(header, fields, "quality"))
    except FaultError as fault:
        found.faulty(fault.code, fault.sentence, number, column)
        return None
    except AskError:
        if SLASH_QUESTION not in found.questions:
            found.questions.append(SLASH_QUESTION)
        return None
    found.commas += any(
        "," in _at(header, fields, one) for one in ("minimum", "maximum")
    )
    day = ReadDay(row=number, on=on, minimum_c=low, maximum_c=high, quality=quality)
    return _whole(day, found)


def _day_of(text: str, about: About) -> date:
    if not text:
        raise FaultError("no-date", "The row has no date. Write the day it is about.")
    on = calendar_day(
        text,
        epoch_1904=about.epoch_1904,
        slash_answer=about.slash_answer,
        zone=about.zone,
    )
    if on > about.today:
        raise FaultError(
            "in-the-future",
            f"“{text}” is still to come: a forecast is no measurement. Leave it out.",
        )
    return on


def _whole(day: ReadDay, found: ReadWeather) -> ReadDay | None:
    """Let a day have both temperatures, or none and be missing."""
    low, high = day.minimum_c, day.maximum_c
    if low is not None and high is not None and low > high:
        found.faulty(
            "minimum-above-maximum",
            f"The minimum, {low:.1f} °C, is above the maximum, {high:.1f} °C. Look"
            " whether they were exchanged.",
            day.row,
        )
        return None
    if low is None or high is None or day.quality == "missing":
        if (low is None) != (high is None) and day.quality != "missing":
            found.findings.append(
                Finding(
                    "warning",
                    "half-a-day",
                    "One of minimum and maximum is missing; the day was read as"
                    " missing, as degree-days need both.",
                    day.row,
                )
            )
        return replace(day, minimum_c=None, maximum_c=None, quality="missing")
    return day


def _refuse_hours(days: list[ReadDay]) -> None:
    """Refuse a file with many rows a day: which is the day's lowest is not said."""
    dates = {day.on for day in days}
    if dates and len(days) >= ROWS_OF_HOURS * len(dates) and len(days) > ROWS_OF_HOURS:
        raise UnreadableSheetError(
            "many-rows-a-day",
            f"The file has {len(days):,} rows for {len(dates):,} days. One row a day is"
            " wanted, with that day's lowest and highest temperature.",
        )


def _one_a_day(days: list[ReadDay], found: ReadWeather) -> list[ReadDay]:
    """Keep each date once; dates that disagree with themselves are errors."""
    by_date: dict[date, list[ReadDay]] = defaultdict(list)
    for day in days:
        by_date[day.on].append(day)
    kept = []
    for on in sorted(by_date):
        first, *others = by_date[on]
        rows = ", ".join(str(day.row) for day in by_date[on])
        if any(_values(other) != _values(first) for other in others):
            found.faulty(
                "date-twice",
                f"{on:%Y-%m-%d} stands in rows {rows} with different figures. Keep the"
                " row that is right.",
                others[-1].row,
                "date",
            )
            continue
        if others:
            sentence = f"{on:%Y-%m-%d} stands in rows {rows} with the same figures."
            found.findings.append(
                Finding("warning", "date-repeated", sentence, others[-1].row, "date")
            )
        kept.append(first)
    return kept


def _values(day: ReadDay) -> tuple[float | None, float | None, str]:
    return day.minimum_c, day.maximum_c, day.quality


def _refuse_other_unit(header: WeatherHeader, rows: list[Row], about: About) -> None:
    """Refuse what looks like Fahrenheit but is said to be Celsius."""
    if about.unit != "C":
        return
    highs = []
    for _, fields in rows:
        with suppress(ValueError):
            highs.append(float(_at(header, fields, "maximum").replace(",", ".")))
    there = [high for high in highs if abs(high) < LEAST_SENTINEL]
    if there and median_low(there) > TOO_HOT_C:
        raise UnreadableSheetError(
            "looks-like-fahrenheit",
            f"Half of the maxima reach {median_low(there):.0f} or more: in °C that is"
            " far too hot, so they look like degrees Fahrenheit. Upload the file again"
            " and say so.",
        )
