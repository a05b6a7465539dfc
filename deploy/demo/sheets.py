"""Write simulated rounds as count sheets, one row a bag, as the laboratory would."""

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from io import StringIO

from deploy.demo.almanac import TOURS, date_of
from deploy.demo.cell_counts import without_cells
from deploy.demo.laboratory import Reading
from deploy.demo.rounds import (
    SEED,
    SampledBag,
    SampledRound,
    fresh_rounds,
    not_begun,
    rounds_of_tour,
)
from deploy.demo.season import ORGANISMS

COLUMNS = (
    "bag",
    "block",
    "collected_on",
    "tissue",
    "position",
    "growth_stage",
    "washed_on",
    "alcohol_percent",
    "volume_ml",
    "shake_s",
    "dish",
    *(column for organism in ORGANISMS for column in (organism, f"{organism}_cells")),
    "symptoms",
    "analyst",
    "note",
)
# Needed for buds, five in a bag, and for recounts.
MORE_COLUMNS = ("units", "reading")


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoSheet:
    """A count sheet ready to be uploaded, and the day its last bag was washed.

    of_round: the block and day of its bags, where their codes alone do not tell.
    """

    file_name: str
    text: str
    finished_on: date
    of_round: tuple[str, date] | None = None


def history_sheets(*, today: date, seed: int = SEED) -> Iterator[DemoSheet]:
    """Write one sheet for each tour of the two seasons, oldest first."""
    for tour in TOURS:
        rounds = rounds_of_tour(tour, seed=seed)
        last = max(date_of(one.season, one.day, today=today) for one in rounds)
        yield DemoSheet(
            file_name=f"counts-{last.isoformat()}-{tour.tissue}.csv",
            text=write_counts(
                without_cells(rounds), today=today, columns=(*COLUMNS, *MORE_COLUMNS)
            ),
            finished_on=finished_on(rounds, today=today),
        )


def fresh_sheet(*, today: date, seed: int = SEED) -> DemoSheet:
    """Write this week's sheet, which nobody has uploaded yet."""
    return DemoSheet(
        file_name=f"fresh-counts-{today.isoformat()}.csv",
        text=write_counts(fresh_rounds(seed), today=today, columns=COLUMNS),
        finished_on=finished_on(fresh_rounds(seed), today=today),
    )


def waiting_sheet(*, today: date, seed: int = SEED) -> DemoSheet:
    """List this week's bags as they came in from the field, not yet washed."""
    rounds = [
        replace(one, bags=tuple(not_begun(bag, note="") for bag in one.bags))
        for one in fresh_rounds(seed)
    ]
    last = max(date_of(one.season, one.day, today=today) for one in rounds)
    return DemoSheet(
        file_name=f"collected-{last.isoformat()}.csv",
        text=write_counts(rounds, today=today, columns=COLUMNS),
        finished_on=last,
    )


def finished_on(rounds: Iterable[SampledRound], *, today: date) -> date:
    """Give the day on which the last bag of rounds was washed."""
    return max(
        date_of(one.season, one.day, today=today) + timedelta(bag.wash.days_after)
        for one in rounds
        for bag in one.bags
        if bag.wash is not None
    )


def write_counts(
    rounds: Iterable[SampledRound], *, today: date, columns: tuple[str, ...]
) -> str:
    """Write rounds as a sheet of the bag layout, one row a reading."""
    text = StringIO()
    # Spreadsheets write carriage return and line feed, as RFC 4180 does.
    writer = csv.DictWriter(text, columns, restval="", extrasaction="ignore")
    writer.writeheader()
    for sampled in rounds:
        for bag in sampled.bags:
            for reading in bag.readings:
                writer.writerow(_row(sampled, bag, reading, today=today))
    return text.getvalue()


def _row(
    sampled: SampledRound, bag: SampledBag, reading: Reading, *, today: date
) -> dict[str, str]:
    collected_on = date_of(sampled.season, sampled.day, today=today)
    row = {
        "bag": bag.code,
        "block": sampled.block.name,
        "collected_on": collected_on.isoformat(),
        "tissue": sampled.tissue,
        "position": bag.position,
        "growth_stage": sampled.growth_stage,
        "symptoms": "" if bag.symptoms is None else str(bag.symptoms),
        "analyst": reading.analyst,
        "note": bag.note,
        "units": str(bag.units),
        "reading": str(reading.number),
    }
    if bag.wash is not None:
        washed_on = collected_on + timedelta(days=bag.wash.days_after)
        row |= {
            "washed_on": washed_on.isoformat(),
            "alcohol_percent": str(bag.wash.alcohol_percent),
            "volume_ml": str(bag.wash.volume_ml),
            "shake_s": str(bag.wash.shake_s),
        }
    for organism, seen in reading.seen.items():
        row[organism] = seen.count_text
        row[f"{organism}_cells"] = seen.cells_text
    return row
