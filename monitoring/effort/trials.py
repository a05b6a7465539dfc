"""Plans tried on bags that were counted: drawn again from real rounds."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.densities.history import PastRound
from monitoring.effort.plans import Own
from monitoring.estimation import (
    SequentialRuns,
    StopLineRuns,
    follow_stop_line,
    follow_test,
    resample_units,
)
from monitoring.estimation.sequential import Lines
from monitoring.estimation.validation import FloatArray

RUNS = 300
# The newest so many rounds are drawn from: bounds the work of a page.
MOST_ROUNDS = 30
# A block with fewer rounds of its own borrows those of the farms seen.
FEWEST_OF_BLOCK = 5
# Shares that differ from 1 by less do so by rounding only.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class TrialSetting:
    """How plans are tried: exposure of a bag, fewest and most bags, and the seed."""

    exposure: float
    fewest: int
    most: int
    seed: int


@dataclass(frozen=True, slots=True)
class Drawn:
    """Runs drawn from one round; `mean` is that of the bags drawn from."""

    round: PastRound
    mean: float
    draws: FloatArray


@dataclass(frozen=True, slots=True)
class PrecisionTrial:
    """What the stop line gave on one round."""

    round: PastRound
    mean: float
    runs: StopLineRuns


@dataclass(frozen=True, slots=True)
class TestTrial:
    """What a sequential test gave on one round."""

    round: PastRound
    mean: float
    runs: SequentialRuns


@dataclass(frozen=True, slots=True)
class Trials:
    """The rounds drawn from, as they were and thinned to the two means of a test.

    A round is thinned, never filled up: only rounds at or above a mean are brought to
    it. `scaled_up` rounds have bags of which less was counted than is planned.
    """

    setting: TrialSetting
    of: str
    own: list[Drawn]
    at_lower: list[Drawn]
    at_upper: list[Drawn]
    scaled_up: int

    def precision(self, line: FloatArray) -> list[PrecisionTrial]:
        """Follow a stop line on every round."""
        return [
            PrecisionTrial(
                one.round,
                one.mean,
                follow_stop_line(
                    one.draws,
                    line,
                    minimum_units=self.setting.fewest,
                    true_mean=one.mean,
                ),
            )
            for one in self.own
        ]

    def tests(
        self, test: Lines
    ) -> tuple[list[TestTrial], list[TestTrial], list[TestTrial]]:
        """Let a test decide on rounds as they were, at the lower and the upper mean."""

        def follow(drawn: list[Drawn]) -> list[TestTrial]:
            return [
                TestTrial(one.round, one.mean, follow_test(one.draws, test))
                for one in drawn
            ]

        return follow(self.own), follow(self.at_lower), follow(self.at_upper)


def trials_of(
    own: Own, setting: TrialSetting, *, means: tuple[float, float] | None
) -> Trials:
    """Draw runs from the block's rounds, or from all seen where it has too few."""
    of_block = len(own.of_block) >= FEWEST_OF_BLOCK
    rounds = (own.of_block if of_block else own.of_all)[-MOST_ROUNDS:]
    keeps = [_keep(one, setting.exposure) for one in rounds]
    populations = [
        float(np.mean(_counts(one) * keep))
        for one, keep in zip(rounds, keeps, strict=True)
    ]
    draw = _drawer(setting, rounds, keeps, populations)
    lower, upper = means or (np.inf, np.inf)
    return Trials(
        setting=setting,
        of="this block" if of_block else "the farms that you may see",
        own=draw(0, None),
        at_lower=draw(1, lower) if means else [],
        at_upper=draw(2, upper) if means else [],
        scaled_up=sum(bool((keep > 1 + ROUNDING).any()) for keep in keeps),
    )


def _counts(past: PastRound) -> FloatArray:
    return np.array([bag.animals for bag in past.bags], dtype=np.float64)


def _keep(past: PastRound, exposure: float) -> FloatArray:
    return exposure / np.array(past.exposures)


def _drawer(
    setting: TrialSetting,
    rounds: Sequence[PastRound],
    keeps: Sequence[FloatArray],
    populations: Sequence[float],
) -> Callable[[int, float | None], list[Drawn]]:
    """Make what draws from each round, as it is or thinned to a mean."""

    def draw(kind: int, mean: float | None) -> list[Drawn]:
        drawn = []
        for past, keep, population in zip(rounds, keeps, populations, strict=True):
            if mean is not None and population < mean:
                continue
            thinned = keep if mean is None else keep * (mean / population)
            draws = resample_units(
                _counts(past),
                keep=np.where(np.abs(thinned - 1) < ROUNDING, 1.0, thinned),
                runs=RUNS,
                units=setting.most,
                # A round's draws stay the same whatever rounds come after it.
                seed=[setting.seed, kind, past.round_id],
            )
            drawn.append(Drawn(past, population if mean is None else mean, draws))
        return drawn

    return draw
