"""Calibration runs of both sources: entered by hand, and gathered out of sheets."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Literal
from uuid import UUID

from monitoring.estimation import (
    EstimationError,
    SpikeRun,
    WashRun,
    recovery_from_spikes,
    recovery_from_washes,
)
from monitoring.models import CalibrationRun, Tally, Wash

Kind = CalibrationRun.Kind
NOT_STATED = "not stated"
ADVICE = "Wash the leaves of more bags together as one run, or measure again."


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One calibration run as pages and pools use it.

    uuid: of the run entered, or of the round that the repeat washes belong to.
    """

    kind: str
    method: str
    ran_on: date
    source: Literal["entered", "sheets"]
    uuid: UUID
    who: str = ""
    note: str = ""
    catches: tuple[int, ...] = ()
    added: int = 0
    recovered: int = 0
    bags: int = 0

    @property
    def counts(self) -> str:
        """What was counted, in words."""
        if self.kind == Kind.SPIKES:
            return f"{self.recovered:,} of {self.added:,} found again"
        return ", ".join(f"{catch:,}" for catch in self.catches) + " washed off"

    @property
    def problem(self) -> str:
        """Why nothing can be told from the run; empty where it can."""
        return problem_of(self.kind, self.catches, (self.recovered, self.added))

    @property
    def of_core(self) -> SpikeRun | WashRun:
        """The run as the estimators take it."""
        if self.kind == Kind.SPIKES:
            return SpikeRun(recovered=self.recovered, added=self.added)
        return WashRun(catches=self.catches)


@dataclass(frozen=True, slots=True)
class Gathered:
    """Runs gathered out of sheets, and how many bags could not be used."""

    runs: list[Run]
    bags_left_out: int


def problem_of(kind: str, catches: Iterable[int], spike: tuple[int, int]) -> str:
    """Say in words why counts tell no recovery; empty where they do."""
    try:
        if kind == Kind.SPIKES:
            recovery_from_spikes(*spike)
        else:
            recovery_from_washes(list(catches), method="two_pass")
    except EstimationError as error:
        sentence = error.sentence.replace("catches", "washes")
        return f"{sentence[:1].upper()}{sentence[1:]}. {ADVICE}"
    return ""


def same_method(one: str, other: str) -> bool:
    """Tell whether two wordings of a method are the same but for case and spaces."""
    return tidy(one).casefold() == tidy(other).casefold()


def tidy(method: str) -> str:
    """Write a method with single spaces."""
    return " ".join(method.split())


def as_run(row: CalibrationRun) -> Run:
    """Take a run that was entered."""
    return Run(
        kind=row.kind,
        method=row.method,
        ran_on=row.ran_on,
        source="entered",
        uuid=row.uuid,
        who=row.ran_by,
        note=row.note,
        catches=tuple(row.catches),
        added=row.added or 0,
        recovered=row.recovered or 0,
    )


def entered(rows: Iterable[CalibrationRun]) -> list[Run]:
    """Take the runs that stand."""
    return [as_run(row) for row in rows if row.stands]


def method_of_wash(wash: Wash) -> str:
    """Write how a bag was washed as the wording of a method."""
    parts = [
        None if wash.alcohol_percent is None else f"{wash.alcohol_percent:g} % alcohol",
        None if wash.volume_ml is None else f"{wash.volume_ml:g} ml",
        None if wash.shake_s is None else f"{wash.shake_s:g} s shaking",
    ]
    return ", ".join(part for part in parts if part) or NOT_STATED


def gathered(tallies: Iterable[Tally]) -> Gathered:
    """Sum a round's bags that were washed alike, equally often, and counted whole.

    Single leaves hold too few animals to tell a recovery. The tallies are those of one
    organism and tissue, in order of bag, wash and dish.
    """
    together: dict[tuple[int, str, int], list[tuple[Tally, list[int]]]] = {}
    left_out = 0
    for _, rows in groupby(tallies, key=lambda tally: tally.wash.bag_id):
        of_bag = list(rows)
        catches = _catches(of_bag)
        first = of_bag[0]
        if len(catches) < 2:
            left_out += 1
            continue
        key = (first.wash.bag.round_id, method_of_wash(first.wash), len(catches))
        together.setdefault(key, []).append((first, catches))
    runs = [_summed(bags, key[1]) for key, bags in together.items()]
    return Gathered(sorted(runs, key=lambda run: run.ran_on), left_out)


def _catches(of_bag: list[Tally]) -> list[int]:
    """Give what each wash brought off, as far as they follow on each other whole."""
    catches: list[int] = []
    for number, rows in groupby(of_bag, key=lambda tally: tally.wash.number):
        dishes = list(rows)
        whole = all(
            row.scope == Tally.Scope.WHOLE and row.count is not None for row in dishes
        )
        as_many = len(dishes) == dishes[0].wash.dishes
        if number != len(catches) + 1 or not whole or not as_many:
            break
        catches.append(sum(row.count or 0 for row in dishes))
    return catches


def _summed(bags: list[tuple[Tally, list[int]]], method: str) -> Run:
    first = bags[0][0].wash
    visit = first.bag.round
    sums = (sum(catch) for catch in zip(*(catches for _, catches in bags), strict=True))
    return Run(
        kind=Kind.REPEAT_WASHES,
        method=method,
        ran_on=first.washed_on or visit.collected_on,
        source="sheets",
        uuid=visit.uuid,
        who=", ".join(_names(bags)),
        note=f"round of {visit.block.name}",
        catches=tuple(sums),
        bags=len(bags),
    )


def _names(bags: list[tuple[Tally, list[int]]]) -> Iterator[str]:
    names = (tally.analyst_name for tally, _ in bags if tally.analyst_name)
    yield from dict.fromkeys(names)
