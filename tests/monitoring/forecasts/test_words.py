"""Growth and crossings in words, also where little is known."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from monitoring.estimation import CountedRound, fit_growth, forecast_crossing
from monitoring.pages.forecast_words import (
    growth_words,
    per_day,
    plain_words,
    plausible_words,
)

ROUNDS = [
    CountedRound(day=10.0 * place, counts=[mean, 2 * mean, mean // 2, mean])
    for place, mean in enumerate([2, 5, 14, 38])
]
FORECAST = forecast_crossing(ROUNDS, threshold=100.0)


def test_a_rate_is_told_in_hundredths_a_day() -> None:
    """exp(.0953) is 1.1."""
    assert per_day(0.0953) == "10"
    assert per_day(-0.0953) == "\N{MINUS SIGN}9"


@pytest.mark.parametrize(
    ("rate", "low", "high", "words"),
    [
        (0.1, 0.07, 0.14, "They grow by 11 in 100 a day (7 to 15), doubling in 7 days"),
        (0.1, -0.02, 0.2, "that they do not grow is not ruled out"),
        (0.0, -0.02, 0.02, "They hardly change"),
        (-0.1, -0.2, -0.05, "They fall"),
    ],
)
def test_growth_is_said_as_sure_as_it_is(
    rate: float, low: float, high: float, words: str
) -> None:
    told = growth_words(replace(FORECAST, rate=rate, rate_low=low, rate_high=high))
    assert words in told


def test_without_a_rate_nothing_is_said() -> None:
    nothing = replace(FORECAST, rate=None, rate_low=None, rate_high=None)
    assert growth_words(nothing) == ""
    assert plausible_words(nothing, is_rust_mites=True) == ""


@pytest.mark.parametrize(
    ("rate", "is_mites", "words"),
    [
        (0.09, True, "lies within what is published"),
        (0.2, True, "faster than"),
        (0.01, True, "slower than"),
        (0.09, False, "No rate of growth on vines is known"),
    ],
)
def test_rates_are_set_against_published_ones(
    rate: float,
    is_mites: bool,  # noqa: FBT001 - a table's column
    words: str,
) -> None:
    told = plausible_words(replace(FORECAST, rate=rate), is_rust_mites=is_mites)
    assert words in told


def test_the_plain_line_says_what_it_gives_or_why_not() -> None:
    days, on = np.repeat([-30, -20, -10, 0], 4), date(2026, 7, 1)
    growing = fit_growth(days, [2, 3, 1, 2, 5, 9, 4, 5, 14, 20, 9, 17, 38, 60, 22, 41])
    assert "Fieller's limits" in plain_words(growing, 100.0, on)
    assert "not significant" in plain_words(
        fit_growth(days, [2, 3, 1, 2] * 4), 100.0, on
    )
    slow = fit_growth(
        np.repeat([-3000, -2000, -1000, 0], 4), [200, 210] * 7 + [240, 250]
    )
    assert "too far away to name a day" in plain_words(slow, 1e9, on)
    assert "cannot be fitted" in plain_words(None, 100.0, on)
