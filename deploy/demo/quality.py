"""Write the laboratory's checks of itself: dishes counted again, and blank washes.

Invented like everything here: the second analyst agrees well, the coordinator, who
seldom counts, finds fewer and fewer, and a full bag leaves a little in the vessel.
"""

import csv
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date, timedelta
from io import StringIO

import numpy as np

from deploy.demo.almanac import LAST_SEASON, THIS_SEASON, TOURS, Tour, date_of
from deploy.demo.laboratory import DENSE, Reading, Seen
from deploy.demo.people import NAMES_CELLS, NUMBERS_CELLS, PEOPLE
from deploy.demo.rounds import SEED, SampledBag, SampledRound, rounds_of_tour
from deploy.demo.season import ORGANISMS
from deploy.demo.sheets import (
    COLUMNS,
    MORE_COLUMNS,
    DemoSheet,
    finished_on,
    write_counts,
)

SELDOM_COUNTS = PEOPLE[0].name
RECOUNTED_A_TOUR, BLANKS_A_TOUR = 12, 3
# Spread of one reading around what is there (standard deviation of its logarithm).
READING_SD = 0.03
# What the coordinator misses more with every day of the season (natural logarithm).
DRIFT_A_DAY, DRIFT_FROM_DAY = 0.003, 148
# Share of a wash's animals that the next wash finds; nothing stays of predators.
LEFT_BEHIND = {"rust_mites": 0.002, "predatory_mites": 0.0, "thrips": 0.001}
BLANK_COLUMNS = (
    "blank", "washed_on", "after_bag", "block", "collected_on", *ORGANISMS, "analyst",
    "note",
)  # fmt: skip
Bags = list[tuple[SampledRound, SampledBag]]


def recount_sheets(*, today: date, seed: int = SEED) -> Iterator[DemoSheet]:
    """Write this season's recounts, a sheet for each tour of leaves."""
    for tour in TOURS:
        if tour.season != THIS_SEASON or tour.tissue != "leaf":
            continue
        rounds = recounted_rounds(tour, seed=seed)
        yield DemoSheet(
            file_name=f"recounts-{date_of(tour.season, tour.day, today=today)}.csv",
            text=write_counts(rounds, today=today, columns=(*COLUMNS, *MORE_COLUMNS)),
            finished_on=_day_after(tour, today=today, seed=seed),
        )


def blank_sheets(*, today: date, seed: int = SEED) -> Iterator[DemoSheet]:
    """Write each season's blank washes, some of them after the fullest bags."""
    for season in (LAST_SEASON, THIS_SEASON):
        tours = [one for one in TOURS if (one.season, one.tissue) == (season, "leaf")]
        after = [pair for tour in tours for pair in _before_blanks(tour, seed)]
        day = _day_after(tours[-1], today=today, seed=seed)
        yield DemoSheet(
            file_name=f"blanks-{day.isoformat()}.csv",
            text=_write_blanks(after, today=today, seed=seed),
            finished_on=day,
        )


def recounted_rounds(tour: Tour, *, seed: int = SEED) -> list[SampledRound]:
    """Give a tour's rounds with the bags counted again, and those readings only."""
    rng = np.random.default_rng([seed, 77, tour.season, tour.day])
    rounds = rounds_of_tour(tour, seed=seed)
    may_be = [pair for pair in _bags(rounds) if _can_be_recounted(pair[1])]
    picked = rng.choice(len(may_be), size=RECOUNTED_A_TOUR, replace=False)
    codes = {(may_be[at][0].block.name, may_be[at][1].code) for at in picked}
    found = []
    for sampled in rounds:
        bags = tuple(
            replace(bag, readings=_again(bag, sampled.day, rng))
            for bag in sampled.bags
            if (sampled.block.name, bag.code) in codes
        )
        if bags:
            found.append(replace(sampled, bags=bags))
    return found


def _day_after(tour: Tour, *, today: date, seed: int) -> date:
    """Give the day after the tour's own sheet, which brings the bags."""
    rounds = rounds_of_tour(tour, seed=seed)
    return finished_on(rounds, today=today) + timedelta(days=1)


def _bags(rounds: Iterable[SampledRound]) -> Bags:
    return [(sampled, bag) for sampled in rounds for bag in sampled.bags]


def _can_be_recounted(bag: SampledBag) -> bool:
    """Tell whether a bag was counted whole, and once."""
    return (
        bag.wash is not None
        and len(bag.readings) == 1
        and bag.washed_off["rust_mites"] <= DENSE
        and bag.readings[0].seen["rust_mites"].count is not None
    )


def _again(bag: SampledBag, day: int, rng: np.random.Generator) -> tuple[Reading, ...]:
    """Count a dish again by the other analyst, and then by the coordinator."""
    first = bag.readings[0].analyst
    other = NAMES_CELLS if first == NUMBERS_CELLS else NUMBERS_CELLS
    missed = DRIFT_A_DAY * (day - DRIFT_FROM_DAY)
    return (
        Reading(number=2, analyst=other, seen=_seen(bag.washed_off, 0.0, rng)),
        Reading(
            number=3, analyst=SELDOM_COUNTS, seen=_seen(bag.washed_off, missed, rng)
        ),
    )


def _seen(
    washed_off: Mapping[str, int], missed: float, rng: np.random.Generator
) -> dict[str, Seen]:
    return {
        organism: Seen(
            count=round(washed_off[organism] * np.exp(rng.normal(-missed, READING_SD)))
        )
        for organism in ORGANISMS
    }


def _before_blanks(tour: Tour, seed: int) -> Bags:
    """Pick the bags that blanks are washed after: the fullest, and some by chance."""
    rng = np.random.default_rng([seed, 78, tour.season, tour.day])
    washed = [
        pair
        for pair in _bags(rounds_of_tour(tour, seed=seed))
        if pair[1].wash is not None
        and all(seen.count is not None for seen in pair[1].readings[0].seen.values())
    ]
    washed.sort(key=lambda pair: pair[1].washed_off["rust_mites"])
    others = rng.choice(len(washed) - 1, size=BLANKS_A_TOUR - 1, replace=False)
    return [washed[-1], *(washed[at] for at in others)]


def _washed_on(sampled: SampledRound, bag: SampledBag, *, today: date) -> date:
    days = bag.wash.days_after if bag.wash else 0
    return date_of(sampled.season, sampled.day, today=today) + timedelta(days=days)


def _write_blanks(after: Bags, *, today: date, seed: int) -> str:
    rng = np.random.default_rng([seed, 79, after[0][0].season])
    text = StringIO()
    writer = csv.DictWriter(text, BLANK_COLUMNS)
    writer.writeheader()
    for number, (sampled, bag) in enumerate(after, 1):
        counts = {
            organism: str(rng.poisson(LEFT_BEHIND[organism] * bag.washed_off[organism]))
            for organism in ORGANISMS
        }
        writer.writerow(
            {
                "blank": f"BL-{number:02d}",
                "washed_on": _washed_on(sampled, bag, today=today).isoformat(),
                "after_bag": bag.code,
                "block": sampled.block.name,
                "collected_on": date_of(
                    sampled.season, sampled.day, today=today
                ).isoformat(),
                "analyst": NUMBERS_CELLS,
                "note": "",
            }
            | counts
        )
    return text.getvalue()
