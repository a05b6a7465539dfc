"""Write some dense dishes cell by cell, as the laboratory's sheet of cells."""

import csv
from collections.abc import Iterator
from datetime import date, timedelta
from io import StringIO

from deploy.demo.almanac import TOURS, date_of
from deploy.demo.cell_counts import bags_by_cell
from deploy.demo.rounds import SEED, SampledRound, rounds_of_tour
from deploy.demo.sheets import DemoSheet, finished_on

COLUMNS = ("bag", "organism", "cell", "count")


def cell_sheets(*, today: date, seed: int = SEED) -> Iterator[DemoSheet]:
    """Write the sheet, the day after the tour's own brought the bags."""
    for tour in TOURS:
        rounds = rounds_of_tour(tour, seed=seed)
        for visit in rounds:
            if not bags_by_cell(visit):
                continue
            day = date_of(visit.season, visit.day, today=today)
            yield DemoSheet(
                file_name=f"cells-{day.isoformat()}.csv",
                text=_write(visit),
                finished_on=finished_on(rounds, today=today) + timedelta(days=1),
                of_round=(visit.block.name, day),
            )


def _write(visit: SampledRound) -> str:
    text = StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS)
    for bag in bags_by_cell(visit):
        seen = bag.readings[0].seen["rust_mites"]
        for cell, count in zip(seen.cells, seen.cell_counts, strict=True):
            writer.writerow([bag.code, "rust_mites", cell, count])
    return text.getvalue()
