"""Thresholds in words."""

import pytest

from alerts.models import ThresholdVersion
from alerts.words import season_words


@pytest.mark.parametrize(
    ("season_from", "season_until", "words"),
    [
        ("01-01", "12-31", "all year"),
        ("05-01", "09-30", "1 May to 30 September"),
        ("11-15", "02-29", "15 November to 29 February"),
    ],
)
def test_a_season_is_told_in_days_and_months(
    season_from: str, season_until: str, words: str
) -> None:
    version = ThresholdVersion(season_from=season_from, season_until=season_until)
    assert season_words(version) == words
