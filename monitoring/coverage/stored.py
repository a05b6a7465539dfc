"""The measured table as it is kept beside the code, and read for the page."""

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from functools import lru_cache
from math import inf, isinf
from pathlib import Path
from typing import Any

from monitoring.coverage.measure import METHODS, Measured, measure
from monitoring.coverage.regimes import Regime
from monitoring.estimation import METHOD_VERSIONS

STORED = Path(__file__).with_name("measured.json")


@dataclass(frozen=True, slots=True)
class Line:
    """A regime with what each method gave in it."""

    regime: Regime
    methods: dict[str, Measured]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The whole table with what it was made with."""

    made_on: date
    seed: int
    sets: int
    versions: dict[str, str]
    lines: tuple[Line, ...]

    @property
    def is_current(self) -> bool:
        """Whether the methods measured are those in use."""
        return self.versions == METHOD_VERSIONS


def write_table(table: Table, path: Path = STORED) -> None:
    """Write the table as JSON, a line a regime; infinite widths as null."""
    lines = [
        json.dumps(
            {
                "regime": asdict(line.regime),
                "methods": {
                    name: _plain(measured) for name, measured in line.methods.items()
                },
            }
        )
        for line in table.lines
    ]
    head = json.dumps(
        {
            "made_on": table.made_on.isoformat(),
            "seed": table.seed,
            "sets": table.sets,
            "versions": table.versions,
        }
    )
    joined = ",\n".join(lines)
    path.write_text(f'{{"head": {head},\n"lines": [\n{joined}\n]}}\n')


@lru_cache(maxsize=1)
def stored_table() -> Table:
    """Read the table that is kept beside the code."""
    return read_table(STORED)


def read_table(path: Path) -> Table:
    """Read a table as `write_table` wrote it."""
    raw = json.loads(path.read_text())
    head = raw["head"]
    return Table(
        made_on=date.fromisoformat(head["made_on"]),
        seed=head["seed"],
        sets=head["sets"],
        versions=head["versions"],
        lines=tuple(_line(one) for one in raw["lines"]),
    )


def measured_line(regime: Regime, *, sets: int, seed: int) -> Line:
    """Measure one regime by all methods."""
    measured = measure(regime, sets=sets, seed=seed, methods=METHODS)
    return Line(regime, {one.method: one for one in measured})


def lines_of(table: Table, family: str) -> Sequence[Line]:
    """Give the lines under one heading."""
    return [line for line in table.lines if line.regime.family == family]


def _line(raw: dict[str, Any]) -> Line:
    return Line(
        Regime(**raw["regime"]),
        {
            name: Measured(
                **{**one, "width": inf if one["width"] is None else one["width"]}
            )
            for name, one in raw["methods"].items()
        },
    )


def _plain(measured: Measured) -> dict[str, Any]:
    found = {
        key: round(value, 5) if isinstance(value, float) and not isinf(value) else value
        for key, value in asdict(measured).items()
    }
    return found | {"width": None if isinf(measured.width) else found["width"]}
