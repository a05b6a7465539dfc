"""Try the forecast of a crossing on simulated seasons, and keep the table."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from monitoring.estimation import EstimationError
from monitoring.estimation.backtest import BacktestTable, backtest, summarise
from monitoring.forecasts.simulated import STORED, store

HEADER = (
    f"{'':32}{'dates':>6}{'seasons':>9}{'held %':>8}{'(s.e.)':>8}{'early %':>9}"
    f"{'late %':>8}{'width d':>9}"
)


class Command(BaseCommand):
    """Print how often 80 percent intervals held, and store it for the page."""

    help = (
        "Simulate seasons with a known truth, forecast at each round before the"
        " crossing, and print how often the 80 percent intervals held it. The table is"
        " kept for the page “How well forecasts hold”. 2,000 seasons take about half a"
        " minute; the same seed gives the same table."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take how many seasons, the seed, and where the table goes."""
        parser.add_argument("--seasons", type=int, default=2000)
        parser.add_argument("--seed", type=int, default=20)
        parser.add_argument(
            "--into",
            type=Path,
            default=STORED,
            help="file for the table, the page's own by default",
        )
        parser.add_argument(
            "--only-print", action="store_true", help="keep no table anywhere"
        )

    def handle(self, *args: Any, **options: Any) -> None:  # noqa: ARG002 - Django's signature
        """Run, print and keep."""
        seasons, seed = options["seasons"], options["seed"]
        try:
            table = summarise(backtest(seasons=seasons, seed=seed))
        except EstimationError as error:
            raise CommandError(f"--{error.argument} {error.sentence}.") from error
        self._print(table)
        if options["only_print"]:
            return
        run_on = timezone.localdate()
        try:
            store(
                table, seasons=seasons, seed=seed, run_on=run_on, into=options["into"]
            )
        except OSError as error:
            raise CommandError(
                f"The table cannot be written to {options['into']}: {error.strerror}."
            ) from error
        self.stdout.write(f"Kept in {options['into']}, seed {seed}, {run_on}.")

    def _print(self, table: BacktestTable) -> None:
        outcomes = ", ".join(
            f"{name} {count}" for name, count in table.outcomes.items()
        )
        self.stdout.write(f"{table.forecasts} forecasts: {outcomes}.")
        self.stdout.write(HEADER)
        for row in table.coverage:
            self.stdout.write(
                f"{row.label:32}{row.dates:6}{row.seasons:9}{100 * row.held:8.1f}"
                f"{100 * row.standard_error:8.1f}{100 * row.early:9.1f}"
                f"{100 * row.late:8.1f}{row.median_width_days:9.1f}"
            )
        self.stdout.write(
            "Chance told of being above a fortnight later, and how often:"
        )
        for part in table.reliability:
            self.stdout.write(
                f"{part.low:4g} to {part.high:g}: told {part.told:.2f}, came"
                f" {part.came:.2f} of {part.forecasts}"
            )
        self.stdout.write(
            f"Rates of growth within their 95 percent interval: {table.rates_held:.3f}."
            f" Of {table.near} rounds within a fortnight of the crossing,"
            f" {table.near_with_date} gave a date."
        )
