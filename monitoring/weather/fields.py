"""Understand one field of a weather file; anything else is a fault in words."""

import re

from monitoring.models.weather import COLDEST_C, HOTTEST_C
from monitoring.sheets.checking.values import FaultError, refuse_spreadsheet_error

NUMBER = re.compile(r"[-+]?[0-9]{1,5}(?:[.,][0-9]{1,12})?")
# What loggers write where they have nothing.
NOTHING_SIGNS = frozenset(
    [
        "-",
        "\u2013",
        "\u2014",
        "na",
        "n/a",
        "n.a.",
        "nan",
        "null",
        "none",
        "missing",
        "m",
        "x",
        "?",
        "***",
        "---",
    ]
)
NOTHING_NUMBERS = frozenset(
    {-99.0, -99.9, -999.0, -999.9, -6999.0, -7999.0, -9999.0, -9999.9, 999.0, 999.9}
    | {9999.0, 9999.9, 6999.0, 7999.0, 32767.0, -32768.0}
)
QUALITIES = {
    "measured": ["measured", "ok", "good", "valid", "observed", "original"],
    "estimated": [
        "estimated",
        "estimate",
        "e",
        "est",
        "interpolated",
        "filled",
        "modelled",
        "modeled",
    ],
    "doubtful": [
        "doubtful",
        "d",
        "suspect",
        "suspicious",
        "questionable",
        "bad",
        "uncertain",
    ],
    "missing": ["missing", "lost"],
}
QUALITY_OF = {word: name for name, words in QUALITIES.items() for word in words}


def temperature_c(text: str, unit: str) -> float | None:
    """Read a temperature as degrees C; None where the file says there is none."""
    refuse_spreadsheet_error(text)
    if not text or text.casefold() in NOTHING_SIGNS:
        return None
    plain = text.replace("\u2212", "-")
    if not plain.isascii() or not NUMBER.fullmatch(plain):
        raise FaultError(
            "not-a-number",
            f"“{text}” is not a temperature. Write it in digits, without its unit;"
            " leave it empty if there is none.",
        )
    number = float(plain.replace(",", "."))
    if number in NOTHING_NUMBERS:
        return None
    celsius = (number - 32) * 5 / 9 if unit == "F" else number
    if not COLDEST_C <= celsius <= HOTTEST_C:
        told = f" ({celsius:.1f} °C)" if unit == "F" else ""
        raise FaultError(
            "out-of-range",
            f"“{text}” °{unit}{told} is not within {COLDEST_C:g} to {HOTTEST_C:g} °C,"
            " where air temperatures lie. Look at the instrument's own record.",
        )
    return celsius


def quality_of(text: str) -> str:
    """Read a quality flag; empty is measured."""
    if not text:
        return "measured"
    found = QUALITY_OF.get(text.casefold())
    if found is None:
        raise FaultError(
            "unknown-quality",
            f"“{text}” is not a quality. Write measured, estimated, doubtful or"
            " missing; empty is measured.",
        )
    return found
