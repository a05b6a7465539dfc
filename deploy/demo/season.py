"""Simulate what lives on the vines: rust mites, predatory mites and thrips by day.

A sketch of the trade's knowledge, not a model to forecast with. Rates of rust mites:
r_m 0.035 a day at 17 C and 0.141 at 25 C, lower threshold 10.51 C, optimum 26.9 C,
upper threshold 39.19 C (abstract of a developmental study of Calepitrimerus vitis from
Oregon); numbers fall from late August as females leave the leaves for their winter
places (Walton et al., abstract, 2010). Predators answer to prey with a saturating rate
of increase; thrips peak around bloom and once more, lower, in July. All other figures
are invented so that the blocks have stories worth looking at.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import numpy.typing as npt

from deploy.demo.almanac import Tissue
from deploy.demo.places import FARM_NAMES

FloatArray = npt.NDArray[np.float64]

ORGANISMS = ("rust_mites", "predatory_mites", "thrips")
FIRST_DAY, LAST_DAY = 90, 300
# Rust mites and predators are on unfolded leaves from this day on.
LEAVES_FROM_DAY = 140

# Growth: straight line through the two published rates.
RATE_AT_17_C, RATE_AT_25_C = 0.035, 0.141
OPTIMUM_C, UPPER_THRESHOLD_C = 26.9, 39.19
CROWDED_PER_LEAF = 1800.0
# Leaving for winter places: half of the full rate on this day.
LEAVING_DAY, LEAVING_RATE = 250.0, 0.11

# Predation, all invented: prey eaten a day by one predator where prey abounds, and
# prey at half of that; increase where prey abounds, and loss without prey.
EATEN_A_DAY, HALF_EATEN_AT = 18.0, 40.0
PREDATOR_INCREASE, PREDATOR_LOSS = 0.1, 0.015
PREDATORS_AT_MOST = 7.0
# Pollen and other prey keep some predators through everything.
PREDATORS_AT_LEAST = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """A treatment: the share of each organism it kills, and for how long it lasts."""

    day: int
    category: str
    kills: Mapping[str, float]
    lasting_days: int = 8


def sulfur(day: int) -> Treatment:
    """Spray wettable sulfur: middling on rust mites, a little hard on predators."""
    kills = {"rust_mites": 0.72, "predatory_mites": 0.25, "thrips": 0.1}
    return Treatment(day=day, category="wettable sulfur", kills=kills)


def oil(day: int) -> Treatment:
    """Spray horticultural oil."""
    kills = {"rust_mites": 0.6, "predatory_mites": 0.3, "thrips": 0.3}
    return Treatment(day=day, category="horticultural oil", kills=kills, lasting_days=3)


def acaricide(day: int) -> Treatment:
    """Spray a specific acaricide: strong on rust mites, mild on predators."""
    kills = {"rust_mites": 0.93, "predatory_mites": 0.15, "thrips": 0.0}
    return Treatment(day=day, category="acaricide", kills=kills, lasting_days=14)


def broad_insecticide(day: int) -> Treatment:
    """Spray a broad insecticide against something else, which costs the predators."""
    kills = {"rust_mites": 0.05, "predatory_mites": 0.85, "thrips": 0.8}
    return Treatment(
        day=day, category="broad insecticide", kills=kills, lasting_days=12
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One block's season: what it starts with and what is done to it.

    wintered: rust mites per bud at budburst. vigour: factor on growth.
    predators: per leaf when leaves unfold. thrips: per leaf at the early peak.
    """

    wintered: float
    vigour: float = 1.0
    predators: float = 0.1
    thrips: float = 3.0
    treatments: tuple[Treatment, ...] = field(default=())


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """True numbers per leaf by day, FIRST_DAY to LAST_DAY, and per bud at the start."""

    leaf: Mapping[str, FloatArray]
    wintered: float
    thrips: float

    def per_unit(self, tissue: Tissue, organism: str, *, day: int) -> float:
        """Give the true mean number on one leaf, shoot or bud of the block."""
        if tissue == "leaf":
            return float(self.leaf[organism][day - FIRST_DAY])
        # From swelling buds the mites move out to the shoots around budburst.
        still_in_buds = 1 / (1 + np.exp((day - 106) / 4))
        bud = {
            "rust_mites": self.wintered * still_in_buds,
            "predatory_mites": 0.01,
            "thrips": 0.0,
        }
        shoot = {
            "rust_mites": self.wintered * 1.4 * (1 - still_in_buds),
            "predatory_mites": 0.06,
            "thrips": 0.25 * self.thrips,
        }
        return float((bud if tissue == "bud" else shoot)[organism])


@cache
def temperature_c(season: int, farm: str) -> FloatArray:
    """Give daily mean temperatures, FIRST_DAY to LAST_DAY: a yearly wave and weather.

    Weather is a first-order autoregression shared by the farms, with a small shift a
    farm; the wave peaks at 21.5 C in the third week of July.
    """
    days = np.arange(FIRST_DAY, LAST_DAY + 1)
    rng = np.random.default_rng([2, season])
    weather = np.zeros(days.size)
    for index in range(1, days.size):
        weather[index] = 0.75 * weather[index - 1] + rng.normal(0.0, 1.2)
    shift = {name: 0.4 * place for place, name in enumerate(FARM_NAMES)}[farm]
    warmth = (0.3, -0.1)[season]
    wave = 13.0 + 8.5 * np.sin(2 * np.pi * (days - 110) / 365)
    return np.asarray(wave + weather + shift + warmth - 0.4)


def growth_rate(temperature: FloatArray) -> FloatArray:
    """Give rust mites' rate of increase a day at mean temperatures in C, at least 0."""
    slope = (RATE_AT_25_C - RATE_AT_17_C) / 8
    rising = RATE_AT_17_C + slope * (np.minimum(temperature, OPTIMUM_C) - 17)
    beyond = (UPPER_THRESHOLD_C - temperature) / (UPPER_THRESHOLD_C - OPTIMUM_C)
    return np.asarray(np.maximum(rising * np.clip(beyond, 0, 1), 0.0))


def simulate(story: Story, temperature: FloatArray) -> Course:
    """Follow one block through one season, day by day."""
    days = np.arange(FIRST_DAY, LAST_DAY + 1)
    rates = growth_rate(temperature) * story.vigour
    leaving = LEAVING_RATE / (1 + np.exp(-(days - LEAVING_DAY) / 6))
    mites = np.zeros(days.size)
    predators = np.zeros(days.size)
    m, p = 0.06 * story.wintered, story.predators
    for index, day in enumerate(days):
        if day < LEAVES_FROM_DAY:
            continue
        # Rare prey is seldom found: Holling's third type of response (1959).
        share_eaten = EATEN_A_DAY * p * m / (HALF_EATEN_AT**2 + m**2)
        growth = rates[index] * (1 - m / CROWDED_PER_LEAF)
        fed = m / (HALF_EATEN_AT + m) * (1 - p / PREDATORS_AT_MOST)
        m *= np.exp(growth - share_eaten - leaving[index])
        m *= _spared(story, "rust_mites", int(day))
        p *= np.exp(PREDATOR_INCREASE * fed - PREDATOR_LOSS)
        p *= _spared(story, "predatory_mites", int(day))
        p = max(p, PREDATORS_AT_LEAST)
        mites[index], predators[index] = m, p
    return Course(
        leaf={
            "rust_mites": mites,
            "predatory_mites": predators,
            "thrips": _thrips(story, days),
        },
        wintered=story.wintered,
        thrips=story.thrips,
    )


def _spared(story: Story, organism: str, day: int) -> float:
    """Give the share that the treatments of and before this day leave alive."""
    share = 1.0
    for treatment in story.treatments:
        since = day - treatment.day
        if since == 0:
            share *= 1 - treatment.kills[organism]
        elif 0 < since <= treatment.lasting_days:
            # What stays on the leaf goes on killing a little.
            share *= 1 - 0.12 * treatment.kills[organism]
    return share


def _thrips(story: Story, days: npt.NDArray[np.int64]) -> FloatArray:
    early = np.exp(-(((days - 160) / 13) ** 2) / 2)
    late = 0.3 * np.exp(-(((days - 200) / 16) ** 2) / 2)
    numbers = story.thrips * (early + late + 0.02)
    for treatment in story.treatments:
        since = days - treatment.day
        # They come back from outside the block within about three weeks.
        numbers = numbers * np.where(
            since < 0, 1, 1 - treatment.kills["thrips"] * np.exp(-since / 10)
        )
    return np.asarray(numbers)
