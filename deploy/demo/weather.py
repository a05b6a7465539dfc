"""The demo's weather, invented: daily minima and maxima of two seasons a farm.

Daily means are those under which the demo's mites grow; before and after the simulated
days the same yearly wave goes on. Each farm's station writes its files in a way of its
own, with a gap that is filled, one that is too long, and days that are doubtful.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from blocks.models import Farm, FarmGroup
from blocks.tenancy import stating
from deploy.demo.almanac import (
    DAYS_BETWEEN_SEASONS,
    LAST_SEASON,
    THIS_SEASON,
    TODAY_DAY,
    date_of,
)
from deploy.demo.people import PEOPLE
from deploy.demo.places import FARM_NAMES
from deploy.demo.replaying import as_member
from deploy.demo.season import FIRST_DAY, LAST_DAY, FloatArray, temperature_c
from monitoring.services.weather import (
    StatedRule,
    publish_weather,
    receive_weather,
    state_rule,
    station_named,
)

COORDINATOR = PEOPLE[0]
STATION = "Yard"
# Half of what a day's temperatures span, C, and how much that varies; invented.
HALF_RANGE_C, HALF_RANGE_SD_C = 5.6, 1.3
# Sums begin with the demo's own year.
START_DAY = 1
# Days of a season on which a farm's station stood still, and those it doubts.
GAPS: dict[tuple[str, int], tuple[range, ...]] = {
    ("Tolbeck", LAST_SEASON): (range(131, 133),),
    ("Hesmoor", LAST_SEASON): (range(176, 178), range(198, 207)),
    ("Hesmoor", THIS_SEASON): (range(139, 142),),
}
DOUBTFUL: dict[tuple[str, int], range] = {
    ("Cindry", THIS_SEASON): range(190, 194),
    ("Hesmoor", THIS_SEASON): range(205, 207),
}


@dataclass(frozen=True, slots=True)
class DemoDay:
    """One day as the station wrote it; temperatures None where it stood still."""

    on: date
    low_c: float | None
    high_c: float | None
    quality: str


def _means(season: int, farm: str, days: int) -> FloatArray:
    """Give daily means from season day 1 on."""
    numbers = np.arange(1, days + 1)
    rng = np.random.default_rng([5, season, FARM_NAMES.index(farm)])
    means = 13.0 + 8.5 * np.sin(2 * np.pi * (numbers - 110) / 365)
    means += rng.normal(0.0, 1.5, days)
    simulated = (numbers >= FIRST_DAY) & (numbers <= LAST_DAY)
    of_mites = temperature_c(season, farm)
    means[simulated] = of_mites[numbers[simulated] - FIRST_DAY]
    return np.asarray(means)


def days_of_station(season: int, farm: str, *, today: date) -> list[DemoDay]:
    """Give what a farm's station wrote in one season, up to yesterday."""
    length = DAYS_BETWEEN_SEASONS if season == LAST_SEASON else TODAY_DAY - 1
    means = _means(season, farm, length)
    rng = np.random.default_rng([6, season, FARM_NAMES.index(farm)])
    half = np.clip(rng.normal(HALF_RANGE_C, HALF_RANGE_SD_C, length), 1.5, 9.5)
    gaps = GAPS.get((farm, season), ())
    doubtful = DOUBTFUL.get((farm, season), range(0))
    found = []
    for number in range(1, length + 1):
        gone = any(number in gap for gap in gaps)
        mean, reach = float(means[number - 1]), float(half[number - 1])
        found.append(
            DemoDay(
                date_of(season, number, today=today),
                None if gone else round(mean - reach, 1),
                None if gone else round(mean + reach, 1),
                "doubtful" if number in doubtful else "",
            )
        )
    return found


def _plain_csv(days: list[DemoDay]) -> str:
    """Write a row a day as most stations do; days without figures are left out."""
    rows = [
        f"{one.on:%Y-%m-%d},{one.low_c},{one.high_c},{one.quality}"
        for one in days
        if one.low_c is not None
    ]
    return "\n".join(["date,minimum,maximum,quality", *rows, ""])


def _decimal_commas(days: list[DemoDay]) -> str:
    """Write semicolons and decimal commas, and -9999 for nothing."""
    rows = [
        f"{one.on:%d.%m.%Y};{_comma(one.low_c)};{_comma(one.high_c)};{one.quality}"
        for one in days
    ]
    return "\n".join(["Date;Tmin (°C);Tmax (°C);flag", *rows, ""])


def _comma(value: float | None) -> str:
    return "-9999" if value is None else f"{value}".replace(".", ",")


def _fahrenheit(days: list[DemoDay]) -> str:
    """Write degrees Fahrenheit."""
    rows = [
        f"{one.on:%Y-%m-%d},{one.low_c * 1.8 + 32:.1f},{one.high_c * 1.8 + 32:.1f},"
        f"{one.quality}"
        for one in days
        if one.low_c is not None and one.high_c is not None
    ]
    return "\n".join(["day,min temp (F),max temp (F),quality", *rows, ""])


WRITTEN = {
    "Tolbeck": (_plain_csv, "C"),
    "Hesmoor": (_decimal_commas, "C"),
    "Cindry": (_fahrenheit, "F"),
}


def weather_files(*, today: date) -> Iterator[tuple[str, str, str, str]]:
    """Give each farm's files: farm, name, text and unit."""
    for farm, (write, unit) in WRITTEN.items():
        for season in (LAST_SEASON, THIS_SEASON):
            days = days_of_station(season, farm, today=today)
            name = f"weather-{farm.lower()}-{days[-1].on.year}-{season + 1}.csv"
            yield farm, name, write(days), unit


def load_weather(group: FarmGroup, farms: dict[str, Farm], *, today: date) -> None:
    """Upload and publish the farms' weather, and say from when degree-days count."""
    with stating(group.pk):
        member = as_member(group, COORDINATOR)
        for name, file_name, text, unit in weather_files(today=today):
            upload, _ = receive_weather(
                member,
                station_named(farms[name], STATION),
                file_name=file_name,
                chunks=[text.encode()],
                unit=unit,
            )
            publish_weather(member, upload)
        for farm in farms.values():
            for season in (LAST_SEASON, THIS_SEASON):
                state_rule(
                    member,
                    farm,
                    StatedRule(
                        starts_on=date_of(season, START_DAY, today=today),
                        method="single_sine",
                        cutoff="horizontal",
                        lower_deg_c=10.51,
                        upper_deg_c=39.19,
                        reason="rust mites' thresholds (Walton et al. 2010, abstract);"
                        " the start is the demo's own new year",
                    ),
                )
