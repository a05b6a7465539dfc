"""Simulate the rounds: who was where, which leaves went into bags, what was counted."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from deploy.demo.almanac import (
    FRESH_TOUR,
    LAST_SEASON,
    THIS_SEASON,
    TOURS,
    VISIT_DAYS,
    Tissue,
    Tour,
    growth_code,
)
from deploy.demo.laboratory import Reading, Seen, read_dish, wash_off
from deploy.demo.parcels import to_degrees, vines_along_rows
from deploy.demo.people import FORMER_ANALYST, NAMES_CELLS, NUMBERS_CELLS
from deploy.demo.places import BLOCKS, BlockPlace, parcels_m
from deploy.demo.season import ORGANISMS, Course, simulate, temperature_c
from deploy.demo.stories import STORIES
from deploy.demo.symptoms import score_of

SEED = 20
# The share of a canopy's leaves in each position that is sampled; invented.
LEAF_SHARES = {"mid": 0.6, "upper": 0.4}
# Leaves are taken in these positions in turn, so that bags hold the same shares and
# may be pooled (Cochran 1977, Sampling Techniques, ch. 5: proportional allocation).
WALK = ("mid", "upper", "mid", "upper", "mid")
# Upper over middle leaves: rust mites move up in summer, predators stay below.
UPPER_OVER_MID = {"rust_mites": 1.8, "predatory_mites": 0.7, "thrips": 1.2}
# Clumping from bag to bag (negative binomial k) by tissue; invented but of the order
# found for mites on leaves.
BAG_K: dict[Tissue, dict[str, float]] = {
    "leaf": {"rust_mites": 1.1, "predatory_mites": 1.6, "thrips": 1.3},
    "shoot": {"rust_mites": 0.7, "predatory_mites": 0.8, "thrips": 0.9},
    "bud": {"rust_mites": 0.6, "predatory_mites": 0.8, "thrips": 0.8},
}
BUDS_IN_BAG = 5
RECOUNTED_SHARE = 0.05
FORMER_ANALYST_SHARE = 0.3
# The share of washes that depart from the usual in strength, volume or shaking.
DEPARTURES = (0.03, 0.05, 0.03)
FRESH_BLOCKS = ("Long Bend", "Owl Field", "Thorn Corner")
# Bags of the newest tour that nobody has come to yet.
STILL_WAITING = {"Sheep Walk": 2}
EARLY_CULTIVARS = frozenset({"Chardonnay", "Pinot Noir", "Gamay"})
LATE_CULTIVARS = frozenset({"Cabernet Franc", "Syrah"})


@dataclass(frozen=True, slots=True, kw_only=True)
class WashNote:
    """How a bag was washed; days counted from collecting."""

    days_after: int
    alcohol_percent: int
    volume_ml: int
    shake_s: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledBag:
    """A bag with what was truly on it, what came off and what was counted."""

    code: str
    position: str
    units: int
    point: tuple[float, float]
    on_tissue: Mapping[str, int]
    washed_off: Mapping[str, int]
    symptoms: int | None
    wash: WashNote | None
    readings: tuple[Reading, ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SampledRound:
    """A visit to a block, and the true mean per leaf, shoot or bud that day."""

    block: BlockPlace
    season: int
    day: int
    tissue: Tissue
    growth_stage: str
    truth: Mapping[str, float]
    bags: tuple[SampledBag, ...]


def position_factors(organism: str) -> dict[str, float]:
    """Give the mean in each position over the canopy's mean; shares make it 1."""
    ratio = UPPER_OVER_MID[organism]
    mid = 1 / (LEAF_SHARES["mid"] + LEAF_SHARES["upper"] * ratio)
    return {"mid": mid, "upper": mid * ratio}


@cache
def courses() -> dict[tuple[str, int], Course]:
    """Simulate every block's two seasons."""
    return {
        (block.name, season): simulate(
            STORIES[block.name][season], temperature_c(season, block.farm)
        )
        for block in BLOCKS
        for season in (LAST_SEASON, THIS_SEASON)
    }


@cache
def rounds_of_tour(tour: Tour, seed: int = SEED) -> tuple[SampledRound, ...]:
    """Simulate all rounds of one tour."""
    return tuple(_rounds_of_tour(tour, seed))


def history(seed: int = SEED) -> tuple[SampledRound, ...]:
    """Simulate all rounds that are loaded, oldest first."""
    return tuple(
        sampled for tour in TOURS for sampled in rounds_of_tour(tour, seed=seed)
    )


def fresh_rounds(seed: int = SEED) -> tuple[SampledRound, ...]:
    """Simulate the rounds of the fresh sheet."""
    return rounds_of_tour(FRESH_TOUR, seed=seed)


def _rounds_of_tour(tour: Tour, seed: int) -> Iterator[SampledRound]:
    for index, block in enumerate(BLOCKS):
        if tour == FRESH_TOUR and block.name not in FRESH_BLOCKS:
            continue
        # A stream for each round, so that no other round depends on this one.
        stream = np.random.SeedSequence([seed, index, tour.season, tour.day])
        visit = VISIT_DAYS[block.farm][index % 6 // 3]
        yield _sample(block, tour, tour.day + visit, stream)


def _sample(
    block: BlockPlace, tour: Tour, day: int, stream: np.random.SeedSequence
) -> SampledRound:
    course = courses()[block.name, tour.season]
    truth = {
        organism: course.per_unit(tour.tissue, organism, day=day)
        for organism in ORGANISMS
    }
    bags = _bags(block, tour, truth, stream)
    waiting = STILL_WAITING.get(block.name, 0) if tour == TOURS[-1] else 0
    bags[len(bags) - waiting :] = [
        not_begun(bag, note="waiting in the cold store")
        for bag in bags[len(bags) - waiting :]
    ]
    return SampledRound(
        block=block,
        season=tour.season,
        day=day,
        tissue=tour.tissue,
        growth_stage="BBCH " + growth_code(day, earliness_days=_earliness(block)),
        truth=truth,
        bags=tuple(bags),
    )


def _earliness(block: BlockPlace) -> int:
    if block.cultivar in EARLY_CULTIVARS:
        return 3
    return -3 if block.cultivar in LATE_CULTIVARS else 0


def _bags(
    block: BlockPlace,
    tour: Tour,
    truth: Mapping[str, float],
    stream: np.random.SeedSequence,
) -> list[SampledBag]:
    # Where the bags hang must not change what is in them.
    rng, walk = (np.random.default_rng(part) for part in stream.spawn(2))
    count = _how_many(tour, rng)
    vines = vines_along_rows(
        [ring for parcel in parcels_m(block) for ring in parcel],
        row_direction_deg=block.row_direction_deg,
        spacing_m=(block.row_spacing_m, block.vine_spacing_m),
        count=count,
        rng=walk,
    )
    points = to_degrees(block.hillside, vines)
    analysts = _analysts(tour, rng)
    days_after = int(rng.integers(1, 3))
    if tour == FRESH_TOUR:
        days_after = 1
    bags = []
    for index in range(count):
        position = WALK[index % len(WALK)] if tour.tissue == "leaf" else ""
        on_tissue = _living(tour.tissue, position, truth, rng)
        off = wash_off(on_tissue, tour.tissue, rng)
        bags.append(
            SampledBag(
                code=f"{block.code}-{index + 1:02d}",
                position=position,
                units=BUDS_IN_BAG if tour.tissue == "bud" else 1,
                point=(float(points[index][0]), float(points[index][1])),
                on_tissue=on_tissue,
                washed_off=off,
                symptoms=None
                if tour.tissue == "bud"
                else score_of(block.farm, on_tissue, rng),
                wash=_wash_note(days_after, rng),
                readings=_readings(off, tour, analysts, rng),
            )
        )
    return bags


def _how_many(tour: Tour, rng: np.random.Generator) -> int:
    """Give the number of bags: 10 of buds or shoots, 10 to 20 of leaves."""
    if tour.tissue != "leaf":
        return 10
    if tour == FRESH_TOUR:
        return 20
    return int(rng.choice([10, 12, 15, 20], p=[0.05, 0.15, 0.3, 0.5]))


def _living(
    tissue: Tissue, position: str, truth: Mapping[str, float], rng: np.random.Generator
) -> dict[str, int]:
    """Draw the animals in one bag, negative binomial around the truth."""
    living = {}
    for organism in ORGANISMS:
        mean = truth[organism] * (BUDS_IN_BAG if tissue == "bud" else 1)
        if position:
            mean *= position_factors(organism)[position]
        k = BAG_K[tissue][organism]
        living[organism] = int(rng.poisson(rng.gamma(k, mean / k)))
    return living


def _analysts(tour: Tour, rng: np.random.Generator) -> tuple[str, str]:
    """Give who counts a round, and who would count it again."""
    staff = [NUMBERS_CELLS, NAMES_CELLS]
    if tour.season == LAST_SEASON and rng.random() < FORMER_ANALYST_SHARE:
        return FORMER_ANALYST, NUMBERS_CELLS
    first = int(rng.integers(2))
    return staff[first], staff[1 - first]


def _wash_note(days_after: int, rng: np.random.Generator) -> WashNote:
    """Give how the bag was washed: mostly as usual (common practice), not always."""
    usual = rng.random(3) >= DEPARTURES
    return WashNote(
        days_after=days_after,
        alcohol_percent=35 if usual[0] else int(rng.choice([30, 40])),
        volume_ml=50 if usual[1] else 45,
        shake_s=30 if usual[2] else int(rng.choice([20, 45])),
    )


def _readings(
    washed_off: Mapping[str, int],
    tour: Tour,
    analysts: tuple[str, str],
    rng: np.random.Generator,
) -> tuple[Reading, ...]:
    if tour == FRESH_TOUR:
        # The first sheet that a reader uploads is a plain one.
        only = read_dish(
            washed_off, number=1, analyst=analysts[0], rng=rng, uncountable_share=0.0
        )
        return (only,)
    first = read_dish(washed_off, number=1, analyst=analysts[0], rng=rng)
    if rng.random() >= RECOUNTED_SHARE:
        return (first,)
    second = read_dish(washed_off, number=2, analyst=analysts[1], rng=rng)
    return first, second


def not_begun(bag: SampledBag, *, note: str) -> SampledBag:
    """Give a bag as it is before anybody washes it."""
    nothing = {organism: Seen(count=None) for organism in ORGANISMS}
    return replace(
        bag,
        washed_off=dict.fromkeys(ORGANISMS, 0),
        wash=None,
        readings=(Reading(number=1, analyst="", seen=nothing),),
        note=note,
    )
