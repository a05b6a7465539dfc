"""Write the second and third washes of some bags as the laboratory's count sheets.

Invented: what the first wash left is washed off again at the usual share.
"""

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from io import StringIO

import numpy as np

from deploy.demo.almanac import LAST_SEASON, THIS_SEASON, TOURS, date_of
from deploy.demo.laboratory import DENSE, WASHED_OFF
from deploy.demo.rounds import SEED, SampledBag, SampledRound, rounds_of_tour
from deploy.demo.sheets import DemoSheet

# Whose bags were washed again, and on which tour (season, day it set out).
WASHED_AGAIN = (
    ("Long Bend", LAST_SEASON, 204),
    ("Kiln Ground", THIS_SEASON, 176),
    ("Upper Hatch", THIS_SEASON, 204),
)
MOST_BAGS, WASHES = 10, 3
# The first wash of each round is counted by then.
DAYS_AFTER = 12
COLUMNS = (
    "bag", "block", "collected_on", "tissue", "position", "growth_stage", "wash",
    "washed_on", "alcohol_percent", "volume_ml", "shake_s", "rust_mites", "analyst",
)  # fmt: skip


def rewash_sheets(*, today: date, seed: int = SEED) -> Iterator[DemoSheet]:
    """Write one sheet for each round whose bags were washed again."""
    for number, (name, season, set_out) in enumerate(WASHED_AGAIN):
        tour = next(one for one in TOURS if (one.season, one.day) == (season, set_out))
        rounds = rounds_of_tour(tour, seed=seed)
        visit = next(one for one in rounds if one.block.name == name)
        day = date_of(season, visit.day, today=today)
        text = StringIO()
        writer = csv.DictWriter(text, COLUMNS)
        writer.writeheader()
        rng = np.random.default_rng([seed, 56, number])
        writer.writerows(_rows(visit, day, rng))
        yield DemoSheet(
            file_name=f"washed-again-{day.isoformat()}.csv",
            text=text.getvalue(),
            finished_on=day + timedelta(days=DAYS_AFTER),
        )


def _rows(
    visit: SampledRound, day: date, rng: np.random.Generator
) -> Iterator[dict[str, str | int]]:
    for bag in [one for one in visit.bags if _counted_whole(one)][:MOST_BAGS]:
        left = bag.on_tissue["rust_mites"] - bag.washed_off["rust_mites"]
        if bag.wash is None:
            continue
        washed_on = day + timedelta(days=bag.wash.days_after)
        for wash in range(2, WASHES + 1):
            off = int(rng.binomial(left, WASHED_OFF["leaf"][0]))
            left -= off
            yield {
                "bag": bag.code,
                "block": visit.block.name,
                "collected_on": day.isoformat(),
                "tissue": visit.tissue,
                "position": bag.position,
                "growth_stage": visit.growth_stage,
                "wash": wash,
                "washed_on": washed_on.isoformat(),
                "alcohol_percent": bag.wash.alcohol_percent,
                "volume_ml": bag.wash.volume_ml,
                "shake_s": bag.wash.shake_s,
                "rust_mites": off,
                "analyst": bag.readings[0].analyst,
            }


def _counted_whole(bag: SampledBag) -> bool:
    """Tell whether the first wash was counted whole."""
    seen = bag.readings[0].seen["rust_mites"]
    return seen.count is not None and bag.washed_off["rust_mites"] <= DENSE
