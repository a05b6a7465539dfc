"""The demo's calendar: a season of numbered days, laid so that late summer is now.

Season days count as days of a northern year (96 is early April); which real date they
fall on is decided only when the demo is loaded, so that the same counts come out
whatever the day of loading.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

Tissue = Literal["bud", "shoot", "leaf"]

# The day of loading is this season day: late summer (20 August).
TODAY_DAY = 232
# Whole weeks, so that a visit keeps its day of the week.
DAYS_BETWEEN_SEASONS = 364
LAST_SEASON, THIS_SEASON = 0, 1
FRESH_TOUR_DAY = 230

# Days into a tour on which each farm's first and second three blocks are visited.
VISIT_DAYS = {"Tolbeck": (0, 1), "Hesmoor": (4, 5), "Cindry": (8, 9)}

# First season day of each growth stage, BBCH (Lorenz et al. 1994); days invented.
GROWTH_STAGES = (
    (0, "01"),
    (94, "03"),
    (100, "05"),
    (106, "09"),
    (114, "12"),
    (121, "13"),
    (128, "15"),
    (136, "53"),
    (143, "55"),
    (150, "57"),
    (157, "61"),
    (161, "65"),
    (167, "69"),
    (172, "71"),
    (179, "73"),
    (187, "75"),
    (197, "77"),
    (207, "79"),
    (218, "81"),
    (226, "83"),
    (237, "85"),
    (254, "89"),
    (268, "91"),
    (276, "92"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tour:
    """One trip round all farms, by the season day it sets out."""

    season: int
    day: int
    tissue: Tissue


TOURS = (
    Tour(season=LAST_SEASON, day=96, tissue="bud"),
    Tour(season=LAST_SEASON, day=120, tissue="shoot"),
    *(Tour(season=LAST_SEASON, day=day, tissue="leaf") for day in range(148, 275, 14)),
    Tour(season=THIS_SEASON, day=95, tissue="bud"),
    Tour(season=THIS_SEASON, day=121, tissue="shoot"),
    *(Tour(season=THIS_SEASON, day=day, tissue="leaf") for day in range(148, 219, 14)),
)
FRESH_TOUR = Tour(season=THIS_SEASON, day=FRESH_TOUR_DAY, tissue="leaf")


def date_of(season: int, day: int, *, today: date) -> date:
    """Give the date of a season day when the demo is loaded `today`."""
    back = (THIS_SEASON - season) * DAYS_BETWEEN_SEASONS
    return today + timedelta(days=day - TODAY_DAY - back)


def growth_code(day: int, *, earliness_days: int = 0) -> str:
    """Give the growth stage of a season day; early cultivars are ahead by some days."""
    reached = [code for first, code in GROWTH_STAGES if first <= day + earliness_days]
    return reached[-1]
