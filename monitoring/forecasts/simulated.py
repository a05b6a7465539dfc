"""The backtest on simulated seasons, as it was last run and kept beside the code."""

import json
from dataclasses import asdict, dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from monitoring.estimation.backtest import BacktestTable, Coverage, Reliability
from monitoring.estimation.forecast import FORECAST_VERSION

STORED = Path(__file__).with_name("backtest.json")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredBacktest:
    """A backtest's table with what it takes to run it again."""

    seasons: int
    seed: int
    run_on: date
    version: str
    table: BacktestTable

    @property
    def is_of_this_version(self) -> bool:
        """Whether forecasts are still made as they were then."""
        return self.version == FORECAST_VERSION


def store(
    table: BacktestTable, *, seasons: int, seed: int, run_on: date, into: Path
) -> None:
    """Write a backtest's table into a file."""
    told = {
        "seasons": seasons,
        "seed": seed,
        "run_on": run_on.isoformat(),
        "version": FORECAST_VERSION,
        "table": _rounded(asdict(table)),
    }
    into.write_text(json.dumps(told, indent=1) + "\n")


def stored_backtest() -> StoredBacktest:
    """Read the table that came with the site."""
    return _read(STORED)


@lru_cache(maxsize=1)
def _read(file: Path) -> StoredBacktest:
    told = json.loads(file.read_text())
    table = told["table"]
    return StoredBacktest(
        seasons=told["seasons"],
        seed=told["seed"],
        run_on=date.fromisoformat(told["run_on"]),
        version=told["version"],
        table=BacktestTable(
            **{
                **table,
                "coverage": [Coverage(**row) for row in table["coverage"]],
                "reliability": [Reliability(**row) for row in table["reliability"]],
            }
        ),
    )


def _rounded(value: Any) -> Any:
    """Cut digits that another machine might not give again."""
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    return [_rounded(one) for one in value] if isinstance(value, list) else value
