"""Measure by simulation how often the intervals hold the truth."""

import os
from argparse import ArgumentParser
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from monitoring.coverage.regimes import every_regime
from monitoring.coverage.stored import (
    STORED,
    Line,
    Table,
    measured_line,
    write_table,
)
from monitoring.estimation import METHOD_VERSIONS

SETS, SEED = 5000, 20261125


class Command(BaseCommand):
    """Write the table that the page 'How sure is sure' shows."""

    help = (
        "Make up counts of known truth in every regime of the table, and measure the "
        "coverage and the width of each method's intervals. 5,000 sets a regime take "
        "about half an hour on two processors; the same seed gives the same table."
    )

    # It asks neither the database nor the site.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take how many sets, the seed, and where to write."""
        parser.add_argument("--sets", type=int, default=SETS, help="sets a regime")
        parser.add_argument("--seed", type=int, default=SEED)
        parser.add_argument("--workers", type=int, default=2, help="processes")
        parser.add_argument("--out", type=Path, default=STORED, help="file to write")
        parser.add_argument("--family", help="measure the regimes of one heading only")

    def handle(self, *_: Any, **options: Any) -> None:
        """Measure every regime, most at once, and write the table."""
        regimes = [
            one for one in every_regime() if options["family"] in {None, one.family}
        ]
        sets, seed = options["sets"], options["seed"]
        found: dict[str, Line] = {}
        # One regime a processor: threads inside each would only wait for each other.
        os.environ["OPENBLAS_NUM_THREADS"] = "1"
        fresh = get_context("spawn")
        with ProcessPoolExecutor(options["workers"], mp_context=fresh) as pool:
            waiting = [
                pool.submit(measured_line, one, sets=sets, seed=seed) for one in regimes
            ]
            for done in as_completed(waiting):
                line = done.result()
                found[line.regime.name] = line
                self.stdout.write(_in_words(line))
                self.stdout.flush()
        table = Table(
            made_on=timezone.localdate(),
            seed=seed,
            sets=sets,
            versions=METHOD_VERSIONS,
            lines=tuple(found[one.name] for one in regimes),
        )
        write_table(table, options["out"])
        self.stdout.write(f"{len(found)} regimes written to {options['out'].name}")


def _in_words(line: Line) -> str:
    methods = ", ".join(
        f"{name} {100 * one.coverage:.1f} ({one.width:.2f})"
        for name, one in line.methods.items()
    )
    return f"{line.regime.name}: {methods}"
