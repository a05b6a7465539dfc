"""Understand one field; anything else is a fault with a way to mend it.

Each parser takes the stripped text and gives a value, or raises FaultError whose
sentence says what is wrong and what to do. Parsers are pure, so a checker calls each
once for every distinct text of a column.
"""

import re
import unicodedata
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

# PostgreSQL's integer; far above any count.
LARGEST_COUNT = 2_147_483_647
PLAUSIBLE_COUNT = 100_000
NOT_COUNTED_SIGNS = frozenset(
    {"-", "\u2013", "\u2014", "n/a", "na", "n.a.", "none", "nc"}
)
SPREADSHEET_ERRORS = frozenset(
    {"#ref!", "#n/a", "#value!", "#div/0!", "#name?", "#null!", "#num!"}
)
LETTERS_FOR_DIGITS = re.compile(r"[0-9]*[OolI|][0-9OolI|]*")
GROUPED = re.compile(r"[0-9]{1,3}(?:[ .,'\u00a0\u202f][0-9]{3})+")


class FaultError(Exception):
    """A field that cannot be understood."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence


class DoubtError(Exception):
    """A field that was understood, with something the person should know."""

    def __init__(self, code: str, sentence: str, value: object) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
        self.value = value


class AskError(Exception):
    """A field that can be read in two ways; the person must say which."""

    def __init__(self, key: str) -> None:
        super().__init__(key)
        self.key = key


def clean(text: str) -> tuple[str, bool]:
    """Strip what cannot be seen; say whether that changed more than outer spaces."""
    plain = text.strip()
    if plain.isascii():
        return plain, False
    plain = unicodedata.normalize("NFC", plain)
    seen = "".join(
        char for char in plain if unicodedata.category(char) not in {"Cf", "Cc"}
    )
    seen = seen.replace("\u00a0", " ").strip()
    return seen, seen != text.strip()


def _refuse_spreadsheet_error(text: str) -> None:
    if text.casefold() in SPREADSHEET_ERRORS:
        raise FaultError(
            "spreadsheet-error",
            f"“{text}” is a spreadsheet's error message. Mend its formula, or type"
            " the value.",
        )


def whole_number(text: str, *, lowest: int, highest: int, what: str) -> int:
    """Read a whole number in a range, in plain digits only."""
    _refuse_spreadsheet_error(text)
    if text.isascii() and text.isdigit():
        number = int(text) if len(text) <= 12 else highest + 1
        if lowest <= number <= highest:
            return number
        raise FaultError(
            "out-of-range",
            f"“{text}” is not within {lowest} to {highest:,}. Look at the paper sheet.",
        )
    raise FaultError(*_why_not_whole(text, what))


PLAIN_DIGITS = "Write it in plain digits, without signs, spaces or words."
# What a text that is not a whole number most likely is, tried in this order.
REASONS = (
    (
        LETTERS_FOR_DIGITS,
        "letter-for-digit",
        ": a letter stands where a digit should (O for 0, l or I for 1)."
        f" {PLAIN_DIGITS}",
    ),
    (
        GROUPED,
        "grouped-digits",
        f": it may be grouped by thousands or have decimals. {PLAIN_DIGITS}",
    ),
    (
        re.compile(r"[<>~\u2248\u2265\u2264].*|tntc|many|numerous", re.IGNORECASE),
        "censored-count",
        ": a figure is needed. Count some cells of the dish instead and name them, or"
        " how many, in the column with _cells; if it cannot be counted at all, write"
        " uncountable.",
    ),
    (
        re.compile(r"[-\u2212][0-9].*"),
        "negative",
        f": it is below 0. {PLAIN_DIGITS}",
    ),
    (
        re.compile(r"[0-9]+[.,][0-9]*"),
        "not-whole",
        f": animals are counted in whole numbers. {PLAIN_DIGITS}",
    ),
    (re.compile(r".*", re.DOTALL), "not-a-number", f". {PLAIN_DIGITS}"),
)


def _why_not_whole(text: str, what: str) -> tuple[str, str]:
    return next(
        (code, f"“{text}” is not {what}{words}")
        for shape, code, words in REASONS
        if shape.fullmatch(text)
    )


def count(text: str) -> int | str | None:
    """Read a count: a number, None for not counted, or "uncountable"."""
    lower = text.casefold()
    if lower in {"uncountable", "not countable"}:
        return "uncountable"
    if lower in NOT_COUNTED_SIGNS:
        raise DoubtError(
            "read-as-not-counted",
            f"“{text}” was read as not counted. Write 0 if none were found.",
            None,
        )
    number = whole_number(text, lowest=0, highest=LARGEST_COUNT, what="a count")
    if number > PLAUSIBLE_COUNT:
        raise DoubtError(
            "implausible-count",
            f"{number:,} animals in one dish is more than anyone counts. Is it right?",
            number,
        )
    return number


def decimal(
    text: str, *, lowest: float, highest: float, unit: str, comma: bool
) -> float:
    """Read a measured value in a range; a decimal comma only if the sheet has them."""
    _refuse_spreadsheet_error(text)
    plain = text.replace(",", ".") if comma and text.count(",") == 1 else text
    if not re.fullmatch(r"[0-9]+(?:\.[0-9]+)?", plain) or not plain.isascii():
        raise FaultError(
            "not-a-number",
            f"“{text}” is not a number of {unit}. Write it with a point for decimals"
            " and without its unit.",
        )
    number = float(plain)
    if not lowest <= number <= highest:
        raise FaultError(
            "out-of-range",
            f"“{text}” is not within {lowest:g} to {highest:g} {unit}.",
        )
    return number


DATE_SHAPES = re.compile(
    r"(?P<iso>(?P<y1>\d{4})-(?P<m1>\d{1,2})-(?P<d1>\d{1,2})(?:[T ].*)?)"
    r"|(?P<dots>(?P<d2>\d{1,2})\.(?P<m2>\d{1,2})\.(?P<y2>\d{4}))"
    r"|(?P<slash>(?P<a>\d{1,2})/(?P<b>\d{1,2})/(?P<y3>\d{4}))"
)
EPOCHS = {False: date(1899, 12, 30), True: date(1904, 1, 1)}
SLASH_DATES = "slash_dates"
WRITE_DATE = "Write it as 2026-08-14."


def calendar_day(
    text: str, *, epoch_1904: bool | None, slash_answer: str | None, zone: ZoneInfo
) -> date:
    """Read a date: ISO, with dots (day first), or with slashes once it is known how."""
    _refuse_spreadsheet_error(text)
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
    except ValueError as error:
        raise FaultError(
            "not-a-date", f"“{text}” is not a date. {WRITE_DATE}"
        ) from error
    return (moment.astimezone(zone) if moment.tzinfo else moment).date()


GROWTH_STAGE = re.compile(r"(BBCH|E-?L)\s*-?\s*(\d{1,2})", re.IGNORECASE)
HIGHEST_STAGE = {"BBCH": 99, "EL": 47}


def growth_stage(text: str) -> tuple[str, str]:
    """Read “BBCH 75” or “EL 33”."""
    match = GROWTH_STAGE.fullmatch(text)
    if match is None:
        raise FaultError(
            "not-a-growth-stage",
            f"“{text}” is not a growth stage. Write the scale and its number: BBCH 75"
            " or EL 33.",
        )
    scale = match[1].upper().replace("-", "")
    number = int(match[2])
    lowest = 0 if scale == "BBCH" else 1
    if not lowest <= number <= HIGHEST_STAGE[scale]:
        raise FaultError(
            "not-a-growth-stage",
            f"“{text}”: {scale} goes from {lowest} to {HIGHEST_STAGE[scale]}.",
        )
    return scale, f"{number:02d}" if scale == "BBCH" else str(number)


CODE_AS_DATE = re.compile(
    r"\d{4}-\d\d-\d\d(T.*)?|[A-Za-z]{3}-\d{1,2}|\d{1,2}-[A-Za-z]{3}"
)


def bag_code(text: str) -> str:
    """Read a bag's code; refuse what a spreadsheet made of one."""
    _refuse_spreadsheet_error(text)
    if re.fullmatch(r"[0-9.]+[eE]\+[0-9]+", text):
        raise FaultError(
            "code-became-number",
            f"“{text}” is what a spreadsheet makes of a long code. Format the column"
            " as text, type the code again, and save.",
        )
    if re.fullmatch(
        r"\d{4}-\d\d-\d\d(T.*)?|[A-Za-z]{3}-\d{1,2}|\d{1,2}-[A-Za-z]{3}", text
    ):
        raise FaultError(
            "code-became-date",
            f"“{text}” looks like a date, which is what a spreadsheet makes of codes"
            " such as MAR-1. Format the column as text, type the code again, and save.",
        )
    if len(text) > 40:
        raise FaultError(
            "code-too-long",
            f"“{text[:40]}…” has {len(text)} signs; a code has up to 40.",
        )
    plain = unicodedata.normalize("NFKC", text)
    if not plain.isascii():
        raise DoubtError(
            "look-alike-letters",
            f"“{text}” has letters that only look like Latin ones, or accents; the code"
            f" was read as “{plain}”.",
            plain,
        )
    return plain


CELL_NAME = re.compile(r"[A-Z]{1,2}[0-9]{1,3}")


def cells(text: str) -> int | list[str]:
    """Read which cells were counted: how many at random, or their names."""
    if text.isascii() and text.isdigit():
        return int(text) if len(text) < 7 else LARGEST_COUNT
    names = [name for name in re.split(r"[\s,;]+", text.upper()) if name]
    odd = [name for name in names if not CELL_NAME.fullmatch(name)]
    if odd or not names:
        raise FaultError(
            "not-cells",
            f"“{text}” does not say which cells: write how many (12), or their names"
            " (C4 D7 E2).",
        )
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FaultError(
            "cell-twice", f"{', '.join(twice)} stands there twice. Name each cell once."
        )
    return names
