"""A block whose rust mites grow by a tenth a day, counted every ten days."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import unescape

import numpy as np
import pytest
import time_machine

from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import set_mite_threshold, settle

FIRST_ON = date(2026, 6, 1)
TODAY = date(2026, 7, 14)
BAGS = 15


def counts_of(mean: float, *, seed: int) -> list[int]:
    rng = np.random.default_rng(seed)
    return [int(one) for one in rng.poisson(mean * rng.gamma(2, 0.5, size=BAGS))]


@dataclass
class Grown:
    """A world with rounds, and its pages' text."""

    world: World
    desk: Desk

    def visit(self, day: int, mean: float, *, bag: str = "", **cells: str) -> None:
        """Count a round so many days after the first; `mean` washed off per leaf."""
        self._publish(
            self._rows(FIRST_ON + timedelta(days=day), day, mean, bag, **cells)
        )

    def grow(
        self,
        days: Sequence[int],
        *,
        rate: float = 0.1,
        first_on: date = FIRST_ON,
        **cells: str,
    ) -> None:
        """Count rounds in one sheet: 2 washed off per leaf at first, then more."""
        self._publish(
            [
                row
                for day in days
                for row in self._rows(
                    first_on + timedelta(days=day),
                    day,
                    2.0 * float(np.exp(rate * day)),
                    "",
                    **cells,
                )
            ]
        )

    def _rows(
        self, on: date, seed: int, mean: float, bag: str, **cells: str
    ) -> list[str]:
        return [
            bag_row(
                bag=f"{bag}{number}",
                collected_on=on.isoformat(),
                washed_on="",
                rust_mites=count,
                **cells,
            )
            for number, count in enumerate(counts_of(mean, seed=seed))
        ]

    def _publish(self, rows: list[str]) -> None:
        sheet = self.desk.upload(bag_sheet(*rows), "rounds.csv")
        assert self.desk.codes(sheet) == []
        self.desk.publish(sheet)
        settle(self.world)

    def threshold(self, level: float) -> None:
        set_mite_threshold(self.world, level)

    @property
    def path(self) -> str:
        return self.world.url(f"blocks/{self.world.block.uuid}/forecast/")

    def text(self, path: str = "", role: str = "grower", **query: str) -> str:
        answer = self.world.client(role).get(path or self.path, query or None)
        assert answer.status_code == 200
        return unescape(" ".join(answer.content.decode().split()))


@pytest.fixture
def at() -> Callable[[date], time_machine.travel]:
    return lambda day: time_machine.travel(f"{day}T12:00:00+00:00", tick=False)


@pytest.fixture
def grown(world: World, desk: Desk) -> Grown:
    return Grown(world, desk)
