"""The laboratory's calibration runs: repeat washes and spiked samples.

All invented. Runs scatter around the share that the simulated washes bring off.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np

from blocks.models import FarmGroup
from blocks.tenancy import stating
from deploy.demo.almanac import THIS_SEASON, date_of
from deploy.demo.laboratory import WASHED_OFF
from deploy.demo.people import PEOPLE
from deploy.demo.places import TIME_ZONE
from deploy.demo.replaying import as_member
from deploy.demo.rounds import SEED
from monitoring.models import CalibrationRun, Organism
from monitoring.pages.recovery_page import recovery_page
from monitoring.services.calibrations import (
    Measured,
    enter_run,
    put_in_force,
    withdraw_run,
)

METHOD = "35 % alcohol, 50 ml, 30 s shaking"
# Between runs of one kind; washes of one session are more alike than single leaves.
BETWEEN_RUNS = 0.03
Kind = CalibrationRun.Kind
# Organism, kind, days of this season (the winter before counts down from 0), animals.
SERIES = (
    ("rust_mites", Kind.REPEAT_WASHES, (-40, -33, -26, 12, 19, 61), 420),
    ("rust_mites", Kind.SPIKES, (-39, 13, 62, 150), 60),
    ("predatory_mites", Kind.SPIKES, (14, 63, 151, 171), 25),
    ("thrips", Kind.SPIKES, (15, 64, 172), 30),
)
WITHDRAWN_DAY, WITHDRAWN_ANIMALS = 5, 380
IN_FORCE_FROM_DAY = 80
WASHES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoRun:
    """A run as it is entered, by the season day it was done."""

    organism: str
    kind: str
    day: int
    catches: tuple[int, ...] = ()
    added: int | None = None
    recovered: int | None = None


def demo_runs(seed: int = SEED) -> Iterator[DemoRun]:
    """Simulate the runs that are entered by hand."""
    for number, (organism, kind, days, animals) in enumerate(SERIES):
        rng = np.random.default_rng([seed, 55, number])
        for day in days:
            share = float(np.clip(rng.normal(_mean_share(), BETWEEN_RUNS), 0.5, 0.97))
            if kind == Kind.SPIKES:
                found = int(rng.binomial(animals, share))
                yield DemoRun(
                    organism=organism,
                    kind=kind,
                    day=day,
                    added=animals,
                    recovered=found,
                )
            else:
                catches = _catches(animals, share, rng)
                yield DemoRun(organism=organism, kind=kind, day=day, catches=catches)


def _mean_share() -> float:
    return WASHED_OFF["leaf"][0]


def _catches(animals: int, share: float, rng: np.random.Generator) -> tuple[int, ...]:
    catches = []
    for _ in range(WASHES):
        catches.append(int(rng.binomial(animals, share)))
        animals -= catches[-1]
    return tuple(catches)


def load_calibrations(group: FarmGroup, *, today: date) -> None:
    """Enter the runs, withdraw one, and put the repeat washes in force this season."""
    with stating(group.pk):
        organisms = {one.code: one for one in Organism.objects.for_group(group.pk)}
        analyst = as_member(group, PEOPLE[1])
        for run in demo_runs():
            enter_run(analyst, _measured(run, organisms, today), today=today)
        shaken = DemoRun(
            organism="rust_mites",
            kind=Kind.REPEAT_WASHES,
            day=WITHDRAWN_DAY,
            catches=(WITHDRAWN_ANIMALS // 2, WITHDRAWN_ANIMALS // 4),
        )
        wrong = enter_run(analyst, _measured(shaken, organisms, today), today=today)
        day = date_of(THIS_SEASON, WITHDRAWN_DAY + 1, today=today)
        withdraw_run(
            analyst,
            wrong,
            reason="the bags were hardly shaken (invented)",
            now=datetime.combine(day, time(9), ZoneInfo(TIME_ZONE)),
        )
        _put_in_force(group, organisms["rust_mites"], today=today)


def _measured(run: DemoRun, organisms: dict[str, Organism], today: date) -> Measured:
    return Measured(
        organism=organisms[run.organism],
        tissue="leaf",
        method=METHOD,
        kind=run.kind,
        ran_on=date_of(THIS_SEASON, run.day, today=today),
        ran_by=PEOPLE[1].name,
        catches=run.catches,
        added=run.added,
        recovered=run.recovered,
        note="invented",
    )


def _put_in_force(group: FarmGroup, organism: Organism, *, today: date) -> None:
    since = date_of(THIS_SEASON, IN_FORCE_FROM_DAY, today=today)
    page = recovery_page(group, organism, "leaf", method=METHOD, on=today)
    washes = page.parts[0].pool
    put_in_force(
        as_member(group, PEOPLE[0]),
        washes,
        of=(organism, "leaf"),
        valid_from=since,
        note="invented",
    )
