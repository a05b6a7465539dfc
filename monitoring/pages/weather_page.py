"""What a farm's weather page shows: the sum in words, the chart, gaps, downloads."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Any

import numpy as np

from blocks.models import Farm
from monitoring.figures.weather import DayShown, weather_figure
from monitoring.models import WeatherDay, WeatherStation
from monitoring.queries.weather import (
    RuleInForce,
    days_of,
    lies_south,
    rule_in_force,
    stations_of,
)
from monitoring.weather.sums import LONGEST_GAP, HeatSum, heat_sum
from monitoring.weather.winkler import winkler_season, winkler_sentence
from monitoring.words import day as in_words
from monitoring.words import sentence_case, stated

CSV_COLUMNS = (
    "date",
    "minimum_deg_c",
    "maximum_deg_c",
    "quality",
    "degree_days_c_days",
    "cumulative_c_days",
    "at_least",
    "method",
    "cutoff",
    "lower_deg_c",
    "upper_deg_c",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FarmHeat:
    """A farm's degree-days in the season of a day, and where they are from."""

    station: WeatherStation | None
    stations: list[WeatherStation]
    rule: RuleInForce
    heat: HeatSum | None
    days: list[WeatherDay]

    @property
    def sentence(self) -> str:
        """The sum in one sentence, or why there is none."""
        return heat_sentence(self)


def farm_heat(
    farm: Farm, *, on: date, station: WeatherStation | None = None
) -> FarmHeat:
    """Sum a farm's degree-days in the season of a day, to that day; 3 or 4 queries."""
    stations = stations_of(farm)
    used = station or (stations[0] if stations else None)
    rule = rule_in_force(farm, on)
    days = days_of(used, since=rule.starts_on, until=on) if used else []
    return FarmHeat(
        station=used,
        stations=stations,
        rule=rule,
        heat=heat_sum(days, rule),
        days=days,
    )


def winkler_words(farm: Farm, station: WeatherStation | None, *, on: date) -> str:
    """Say the Winkler sum of the newest growing season; 2 queries."""
    if station is None:
        return ""
    first, last = winkler_season(on, south=lies_south(farm))
    days = days_of(station, since=first, until=last)
    return winkler_sentence(days, (first, last))


def rule_words(rule: RuleInForce) -> str:
    """Write how degree-days are summed: “single sine, above 10.51 °C, ...”."""
    told = f"{rule.method_label}, above {stated(rule.lower_deg_c)} °C"
    if rule.upper_deg_c is not None:
        told += f", {rule.cutoff_label} cut-off at {stated(rule.upper_deg_c)} °C"
    return told


def heat_sentence(of: FarmHeat) -> str:
    """Say over the phone how warm it has been, with what is missing."""
    if of.station is None:
        return "No weather was uploaded for this farm, so there are no degree-days yet."
    if of.heat is None:
        return (
            f"The station {of.station.name} has no temperature since"
            f" {in_words(of.rule.starts_on)}, so there are no degree-days yet."
        )
    heat = of.heat
    if heat.total is None:
        return (
            f"No sum can be given since {in_words(of.rule.starts_on)}: {heat.missing}"
            " days are missing, and with an intermediate cut-off a day may count"
            " below 0."
        )
    least = "at least " if heat.is_at_least else ""
    return sentence_case(
        f"{least}{heat.total:,.0f} degree-days from {in_words(of.rule.starts_on)} to"
        f" {in_words(heat.last_on)} ({rule_words(of.rule)})."
    )


def heat_notes(heat: HeatSum) -> list[str]:
    """Say what was filled, what is missing, and what is doubtful."""
    told = []
    if heat.filled:
        told.append(
            f"Filled along a straight line, as gaps of up to {LONGEST_GAP} days are:"
            f" {'; '.join(heat.filled_spans[:12])}."
        )
    if heat.missing:
        told.append(
            f"Missing, and not invented: {'; '.join(heat.gaps[:12])}. The sum leaves"
            " these days out."
        )
    for quality in ("estimated", "doubtful"):
        number = heat.qualities.get(quality, 0)
        if number:
            told.append(
                f"{number} day{'s' if number > 1 else ''} marked {quality}"
                f" {'are' if number > 1 else 'is'} in the sum."
            )
    return told


def shown_days(of: FarmHeat) -> list[DayShown]:
    """Give every day from the start on, with its quality and the running sum."""
    if of.heat is None:
        return []
    sums = of.heat.sums
    standing = {one.measured_on: one for one in of.days}
    shown = []
    for place, on in enumerate(of.heat.dates):
        row = standing.get(on)
        quality = "missing" if row is None else row.quality
        shown.append(
            DayShown(
                on=on,
                minimum_c=_known(sums.minimum_c[place]),
                maximum_c=_known(sums.maximum_c[place]),
                quality="filled" if sums.filled[place] else quality,
                degree_days=_known(sums.cumulative[place]),
            )
        )
    return shown


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def farm_figure(of: FarmHeat) -> dict[str, Any]:
    """Draw the farm's weather and degree-days."""
    return weather_figure(shown_days(of))


def summary_of(of: FarmHeat) -> str:
    """Say in words what the chart shows, for those who do not see it."""
    there = [
        one
        for one in of.days
        if one.minimum_deg_c is not None and one.maximum_deg_c is not None
    ]
    if not there:
        return "No day with temperatures."
    coldest = min(there, key=lambda one: one.minimum_deg_c or 0.0)
    hottest = max(there, key=lambda one: one.maximum_deg_c or 0.0)
    return (
        f"Daily lowest and highest air temperature on {len(there)} days; lowest"
        f" {coldest.minimum_deg_c:.1f} °C on {in_words(coldest.measured_on)}, highest"
        f" {hottest.maximum_deg_c:.1f} °C on {in_words(hottest.measured_on)}; below,"
        " the degree-days they add up to."
    )


def days_csv(of: FarmHeat, days: Sequence[DayShown]) -> str:
    """Write every day with its degree-days, and how they were made in each row."""
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    sums = of.heat.sums if of.heat else None
    rule = of.rule
    upper = "" if rule.upper_deg_c is None else rule.upper_deg_c
    for place, one in enumerate(days):
        daily = float(sums.daily[place]) if sums else np.nan
        writer.writerow(
            [
                one.on.isoformat(),
                "" if one.minimum_c is None else round(one.minimum_c, 2),
                "" if one.maximum_c is None else round(one.maximum_c, 2),
                one.quality,
                "" if np.isnan(daily) else round(daily, 4),
                "" if one.degree_days is None else round(one.degree_days, 4),
                "yes" if sums is not None and sums.at_least[place] else "no",
                rule.method,
                rule.cutoff,
                rule.lower_deg_c,
                upper,
            ]
        )
    return text.getvalue()
