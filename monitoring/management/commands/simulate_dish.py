"""Measure on simulated dishes what stopping by a pilot does to the total."""

from argparse import ArgumentParser
from itertools import product
from typing import Any

from django.core.management.base import BaseCommand

from monitoring.estimation import DishGrid
from monitoring.estimation.simulated_dishes import DishRegime, simulate_stopping

CELL_K = (0.3, 0.7, 1.0, 2.0, 5.0)
MEANS_PER_CELL = (0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
CVS = (0.1, 0.15, 0.2)
HEADER = "   k  per cell   cv  bias %  (s.e.)  equal weights %  error %  held %  cells"


class Command(BaseCommand):
    """Print the table of bias, error and coverage; it takes minutes."""

    help = (
        "Count simulated 15 cm dishes (10 mm grid) in two stages and print, for each"
        " clumping, crowding and wanted precision, the bias of the total, that of"
        " weighting all cells alike, its error, and how often its interval of 95"
        " percent holds the truth."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take how many dishes, and the seed."""
        parser.add_argument("--dishes", type=int, default=40_000)
        parser.add_argument("--averaged", type=int, default=1_000)
        parser.add_argument("--seed", type=int, default=1)

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Go through the regimes, one line each."""
        grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
        self.stdout.write(HEADER)
        for cv, k, mean in product(CVS, CELL_K, MEANS_PER_CELL):
            found = simulate_stopping(
                DishRegime(cell_k=k, mean_per_cell=mean, cv=cv),
                grid=grid,
                dishes=options["dishes"],
                averaged=options["averaged"],
                seed=options["seed"],
            )
            self.stdout.write(
                f"{k:4g}  {mean:8g} {cv:4g}  {100 * found.bias:+6.2f}"
                f"  ({100 * found.standard_error:.2f})"
                f"  {100 * found.bias_of_equal_weights:+15.2f}"
                f"  {100 * found.error:7.1f}  {100 * found.coverage:6.1f}"
                f"  {found.cells:5.0f}"
            )
