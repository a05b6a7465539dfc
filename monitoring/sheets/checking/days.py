"""Read dates as sheets write them: never guessed where two readings are possible."""

import re
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from monitoring.sheets.checking.values import AskError, FaultError

DATE_SHAPES = re.compile(
    r"(?P<iso>(?P<y1>\d{4})-(?P<m1>\d{1,2})-(?P<d1>\d{1,2})(?:[T ].*)?)"
    r"|(?P<dots>(?P<d2>\d{1,2})\.(?P<m2>\d{1,2})\.(?P<y2>\d{4}))"
    r"|(?P<slash>(?P<a>\d{1,2})/(?P<b>\d{1,2})/(?P<y3>\d{4}))",
    re.ASCII,
)
EPOCHS = {False: date(1899, 12, 30), True: date(1904, 1, 1)}
EARLIEST_YEAR = 1900
SLASH_DATES = "slash_dates"
WRITE_DATE = "Write it as 2026-08-14."


def calendar_day(
    text: str, *, epoch_1904: bool | None, slash_answer: str | None, zone: ZoneInfo
) -> date:
    """Read a date: ISO, with dots (day first), or with slashes once it is known how."""
    if text.isascii() and text.isdigit() and len(text) == 5:
        return _serial_day(text, epoch_1904)
    match = DATE_SHAPES.fullmatch(text)
    if match is None:
        hint = "a year has four digits" if re.search(r"[./-]\d{2}$", text) else ""
        raise FaultError(
            "not-a-date",
            f"“{text}” is not a date{': ' + hint if hint else ''}. {WRITE_DATE}",
        )
    if match["iso"]:
        if len(text) > len("2026-08-14"):
            return _moment_as_day(text, zone)
        return _day(match["y1"], match["m1"], match["d1"], text)
    if match["dots"]:
        return _day(match["y2"], match["m2"], match["d2"], text)
    return _slash_day(match, text, slash_answer)


def _day(year: str, month: str, day: str, text: str) -> date:
    if int(year) < EARLIEST_YEAR:
        raise FaultError(
            "out-of-range", f"“{text}”: no sheet is that old. Look at the year."
        )
    try:
        return date(int(year), int(month), int(day))
    except ValueError as error:
        raise FaultError(
            "no-such-day", f"“{text}” is a day that no calendar has. {WRITE_DATE}"
        ) from error


def _slash_day(match: re.Match[str], text: str, answer: str | None) -> date:
    first, second, year = match["a"], match["b"], match["y3"]
    if answer == "day_first":
        return _day(year, second, first, text)
    if answer == "month_first":
        return _day(year, first, second, text)
    if first == second or int(first) > 12 >= int(second):
        return _day(year, second, first, text)
    if int(second) > 12 >= int(first):
        return _day(year, first, second, text)
    if int(first) > 12:
        return _day(year, second, first, text)
    raise AskError(SLASH_DATES)


def slash_order(text: str) -> str:
    """Tell which order a date with slashes must have; empty if it could be both."""
    match = DATE_SHAPES.fullmatch(text)
    if match is None or not match["slash"]:
        return ""
    first, second = int(match["a"]), int(match["b"])
    if first > 12 >= second:
        return "day_first"
    return "month_first" if second > 12 >= first else ""


def _serial_day(text: str, epoch_1904: bool | None) -> date:  # noqa: FBT001 - the workbook's flag
    if epoch_1904 is None:
        raise FaultError(
            "serial-day",
            f"“{text}” is a spreadsheet's day number; without its workbook it cannot"
            f" be told which day that is. {WRITE_DATE}",
        )
    return EPOCHS[epoch_1904] + timedelta(days=int(text))


def _moment_as_day(text: str, zone: ZoneInfo) -> date:
    """Give the local day of an ISO time; one without an offset is local already."""
    try:
        moment = datetime.fromisoformat(text)
        day = (moment.astimezone(zone) if moment.tzinfo else moment).date()
    except (ValueError, OverflowError) as error:
        raise FaultError(
            "not-a-date", f"“{text}” is not a date. {WRITE_DATE}"
        ) from error
    return _day(str(day.year), str(day.month), str(day.day), text)
