"""The Winkler sum of a farm's growing season, in one sentence."""

from collections.abc import Sequence
from datetime import date

from monitoring.estimation import winkler_region, winkler_sum
from monitoring.models import WeatherDay
from monitoring.words import day as in_words


def winkler_season(on: date, *, south: bool) -> tuple[date, date]:
    """Give the newest growing season that has begun by a day: its first and last day.

    April to October, or October to April south of the equator.
    """
    first_month, last_month, last_day = (10, 4, 30) if south else (4, 10, 31)
    begun = date(on.year, first_month, 1)
    first = begun if begun <= on else begun.replace(year=on.year - 1)
    return first, date(first.year + (1 if south else 0), last_month, last_day)


def winkler_sentence(days: Sequence[WeatherDay], season: tuple[date, date]) -> str:
    """Say a season's sum and region; only once every day of it has temperatures."""
    first, last = season
    there = [
        (day.minimum_deg_c, day.maximum_deg_c)
        for day in days
        if day.minimum_deg_c is not None and day.maximum_deg_c is not None
    ]
    span = f"{in_words(first)} to {in_words(last)}"
    whole = (last - first).days + 1
    if len(there) < whole:
        return (
            f"Winkler sum from {span}: none yet, {len(there)} of {whole} days have"
            " temperatures; it needs all of them."
        )
    lows, highs = zip(*there, strict=True)
    total = winkler_sum(lows, highs)
    region = winkler_region(total)
    told = "outside the regions" if region == "outside" else f"region {region}"
    return (
        f"Winkler sum from {span}: {total:,.0f} degree-days above 10 °C, from daily"
        f" means ({told}; limits as in Jones et al. 2010, read in an encyclopaedia)."
    )
