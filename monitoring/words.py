"""Figures in words: enough digits, a unit, an interval."""

from datetime import date
from math import floor, isfinite, log10

# Figures are shown to two significant digits, larger ones to the nearest ten.
SIGNIFICANT = 2
# Dates before this stand for “always”.
ALWAYS = 1950


def figure(value: float | None) -> str:
    """Write a figure with two significant digits and no false precision."""
    if value is None or not isfinite(value):
        return "no limit"
    if value == 0:
        return "0"
    if value < 0.005:  # noqa: PLR2004 - smaller than anyone counts
        return "under 0.01"
    digits = SIGNIFICANT - 1 - floor(log10(abs(value)))
    rounded = round(value, digits)
    if digits <= 0:
        return f"{rounded:,.0f}"
    return f"{rounded:.{digits}f}"


def stated(value: float) -> str:
    """Write a value that a person set, as it was set."""
    return f"{value:,.6g}"


def interval(low: float | None, high: float | None) -> str:
    """Write an interval as it is spoken: “130 to 340”."""
    if high is None:
        return f"{figure(low)} or more, no upper limit"
    return f"{figure(low)} to {figure(high)}"


def in_hundred(chance: float) -> str:
    """Write a probability as “91 in 100”, never as certainty."""
    hundredths = round(chance * 100)
    if hundredths <= 0:
        return "less than 1 in 100"
    if hundredths >= 100:
        return "more than 99 in 100"
    return f"{hundredths} in 100"


def prey_per_predator(ratio: float | None) -> str:
    """Write a predator ratio as prey to one predator: “260”."""
    if ratio is None or ratio <= 0:
        return "no limit"
    return figure(1 / ratio)


def day(value: date) -> str:
    """Write a date as “4 August 2026”."""
    return f"{value.day} {value:%B %Y}"


def since(value: date) -> str:
    """Write from when something holds; dates of long ago are “always”."""
    return "always" if value.year < ALWAYS else day(value)


TISSUES = {"leaf": "leaves", "shoot": "shoots", "bud": "buds"}


def several(tissue: str) -> str:
    """Write a tissue's plural."""
    return TISSUES.get(tissue, f"{tissue}s")


def sentence_case(text: str) -> str:
    """Begin with a capital, and leave the rest as it is."""
    return text[:1].upper() + text[1:]


def bags(number: int) -> str:
    """Write a number of bags."""
    return "1 bag" if number == 1 else f"{number} bags"


def leaves(number: int) -> str:
    """Write a number of leaves."""
    return "1 leaf" if number == 1 else f"{number:,} leaves"


def prey_to_one(median: float | None, low: float | None, high: float | None) -> str:
    """Write a predator ratio with its interval: “260 (120 to 700)”.

    Without predators only the upper end of the ratio is known, the lower of the prey.
    """
    if low == 0:
        if high is None:
            return "no predators found, no limit"
        return f"no predators found: more than {prey_per_predator(high)}"
    return (
        f"{prey_per_predator(median)} ({prey_per_predator(high)} to"
        f" {prey_per_predator(low)})"
    )
