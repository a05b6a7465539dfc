"""Understand one field; anything else is a fault with a way to mend it.

Each parser takes the stripped text and gives a value, or raises FaultError whose
sentence says what is wrong and what to do. Parsers are pure, so a checker calls each
once for every distinct text of a column.
"""

import re
import unicodedata

# PostgreSQL's integer; far above any count.
LARGEST_COUNT = 2_147_483_647
# Above these a count is doubted, not refused. Chosen, not measured: nobody counts a
# hundred thousand animals in one dish, and predatory mites on one leaf are few.
PLAUSIBLE_COUNT = 100_000
PLAUSIBLE_PREDATORS = 300
FORMULA_SIGNS = frozenset("=+-@")
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
    # Our own downloads put an apostrophe before what a spreadsheet would run.
    if plain[:1] == "'" and plain[1:2] in FORMULA_SIGNS:
        plain = plain[1:]
    if plain.isascii():
        return plain, False
    plain = unicodedata.normalize("NFC", plain)
    seen = "".join(
        char for char in plain if unicodedata.category(char) not in {"Cf", "Cc"}
    )
    seen = seen.replace("\u00a0", " ").strip()
    return seen, seen != plain


def refuse_spreadsheet_error(text: str) -> None:
    """Refuse what a spreadsheet shows in place of a value."""
    if text.casefold() in SPREADSHEET_ERRORS:
        raise FaultError(
            "spreadsheet-error",
            f"“{text}” is a spreadsheet's error message. Mend its formula, or type"
            " the value.",
        )


def whole_number(text: str, *, lowest: int, highest: int, what: str) -> int:
    """Read a whole number in a range, in plain digits only."""
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


def count(text: str, *, plausible: int = PLAUSIBLE_COUNT) -> int | str | None:
    """Read a count: a number, None for not counted, or "uncountable".

    plausible: the largest count that is not doubted.
    """
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
    if number > plausible:
        raise DoubtError(
            "implausible-count",
            f"{number:,} animals of this kind in one dish is far more than usual. Is it"
            " right?",
            number,
        )
    return number


def decimal(
    text: str, *, lowest: float, highest: float, unit: str, comma: bool
) -> float:
    """Read a measured value in a range; a decimal comma only if the sheet has them."""
    commas = comma and text.count(",") == 1
    plain = text.replace(",", ".") if commas else text
    if commas and GROUPED.fullmatch(text):
        raise FaultError(
            "grouped-digits",
            f"“{text}” may be grouped by thousands or have decimals. Write it with a"
            " point for decimals and without grouping.",
        )
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
    if commas:
        raise DoubtError(
            "decimal-comma", f"“{text}” was read as {number:g} {unit}.", number
        )
    return number


GROWTH_STAGE = re.compile(r"(BBCH|E-?L)\s*-?\s*([0-9]{1,2})", re.IGNORECASE)
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
