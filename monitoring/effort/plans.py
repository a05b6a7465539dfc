"""What a plan rests on: the scale of counting, and the clumping that is taken."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, sqrt

import numpy as np

from monitoring.densities.history import FEWEST_ROUNDS, PastRound, PooledHistory
from monitoring.densities.inputs import recovery_value
from monitoring.effort.laws import Laws, laws_of, usual_units
from monitoring.estimation import (
    BetaRecovery,
    stop_line_patchiness,
    stop_line_power_law,
    units_for_precision,
)
from monitoring.estimation.validation import FloatArray
from monitoring.models import Recovery

# Without any round of one's own; our choice, within what is found for mites on leaves.
PLANNING_K = 0.4
# Above this chance the rounds' k differ no more than chance makes of one k.
ALIKE = 0.05
STEEPEST = 2.0
# A law is only taken unasked where its slope is so many errors below the steepest.
ERRORS_BELOW = 2


@dataclass(frozen=True, slots=True)
class Scale:
    """From a density per unit to the animals counted in a bag, and back."""

    units: int
    share_counted: float
    recovery_mean: float
    recovery_low: float | None
    recovery_high: float | None
    recovery_cv: float

    @property
    def exposure(self) -> float:
        """Units in a bag times the share of its wash that is looked at."""
        return self.units * self.share_counted

    def counted(self, density: float) -> float:
        """Give the animals counted per bag at a density per unit."""
        return density * self.recovery_mean * self.exposure

    def density(self, counted: float) -> float:
        """Give the density per unit at a count per bag."""
        return counted / (self.recovery_mean * self.exposure)

    def with_recovery(self, precision: float) -> float:
        """Add what is not known of recovery, which no number of bags makes smaller."""
        return sqrt(precision**2 + self.recovery_cv**2)


def scale_of(recovery: Recovery | None, *, units: int, share_counted: float) -> Scale:
    """Make the scale from a stored recovery; 1 where none is known."""
    value = recovery_value(recovery)
    if not isinstance(value, BetaRecovery):
        return Scale(units, share_counted, value, None, None, 0.0)
    low, high = value.interval()
    mean, size = value.mean, value.a + value.b
    spread = sqrt(mean * (1 - mean) / (size + 1))
    return Scale(units, share_counted, mean, low, high, spread / mean)


@dataclass(frozen=True, slots=True)
class Clumping:
    """The variance that a plan counts with, per bag at its scale.

    Exactly one of `k`, `power_law` and `patchiness` is set; `source` says in words
    where it comes from, `notes` what else is to be known.
    """

    source: str
    k: float | None = None
    power_law: tuple[float, float] | None = None
    patchiness: tuple[float, float] | None = None
    notes: list[str] = field(default_factory=list)

    def k_at(self, mean: float) -> float:
        """Give the k that belongs to a mean count; inf where nothing is clumped."""
        if self.k is not None:
            return self.k
        if self.power_law:
            a, b = self.power_law
            extra = a * mean**b - mean
        else:
            alpha, beta = self.patchiness or (0.0, 1.0)
            extra = alpha * mean + (beta - 1) * mean**2
        return mean**2 / extra if extra > 0 else inf

    def bags_for(self, mean: float, precision: float) -> float:
        """Give how many bags a precision (standard error over mean) takes."""
        return units_for_precision(mean, k=self.k_at(mean), precision=precision)

    def stop_line(self, precision: float, bags: FloatArray) -> FloatArray:
        """Give the running totals at which the mean is precise enough."""
        if self.power_law:
            a, b = self.power_law
            return stop_line_power_law(a, b, precision=precision, units=bags)
        alpha, beta = self.patchiness or (0.0, 1 + 1 / (self.k or inf))
        return stop_line_patchiness(alpha, beta, precision=precision, units=bags)


@dataclass(frozen=True, slots=True)
class Own:
    """The rounds that a plan rests on or is tried on: the block's, or all seen."""

    of_block: list[PastRound]
    of_all: list[PastRound]
    history: PooledHistory
    units: int

    def chosen(self, wish: str) -> tuple[list[PastRound], str]:
        """Give the rounds wished for, unasked the block's if enough, with words."""
        enough = len(self.of_block) >= FEWEST_ROUNDS
        if wish == "block" or (wish != "group" and enough):
            return self.of_block, "this block"
        return self.of_all, "the farms that you may see"


def own_rounds(history: PooledHistory, block_id: int) -> Own:
    """Part a history's rounds of the usual number of units."""
    units = usual_units(history)
    of_all = [one for one in history.rounds if one.units == units]
    of_block = [one for one in of_all if one.block_id == block_id]
    return Own(of_block, of_all, history, units)


def clumping_for(
    own: Own, *, exposure: float, rounds: str, law: str, k: float | None
) -> Clumping:
    """Choose the clumping that a plan counts with.

    rounds: "auto", "block" or "group". law: "auto", "common_k", "power_law" or
    "patchiness". k: stated, or None.
    """
    if k is not None:
        return Clumping("the k that you stated", k=k)
    chosen, of = own.chosen(rounds)
    if not chosen:
        return Clumping(
            f"a planning value: no round of {of} tells it yet (our choice, no source)",
            k=PLANNING_K,
        )
    whole = len(chosen) == len(own.history.rounds)
    together = own.history.together if whole else None
    laws = laws_of(chosen, exposure=exposure, together=together)
    number = "1 round" if len(chosen) == 1 else f"{len(chosen)} rounds"
    return _of_laws(laws, law, f"{number} of {of}", _weak(chosen))


def _weak(chosen: Sequence[PastRound]) -> list[str]:
    if len(chosen) >= FEWEST_ROUNDS:
        return []
    return [f"Fewer than {FEWEST_ROUNDS} rounds tell it: take it as a rough guide."]


def _of_laws(laws: Laws, law: str, rounds: str, notes: list[str]) -> Clumping:
    common = Clumping(f"the k common to {rounds}", k=laws.common_k, notes=notes)
    if law == "patchiness":
        return _by_patchiness(laws, rounds, notes) or _instead(
            common, "the patchiness regression cannot be told"
        )
    if law == "power_law":
        return _by_power_law(laws, rounds, notes) or _instead(
            common, "the power law cannot be told, or is too steep,"
        )
    if law == "auto" and laws.alike < ALIKE and _surely_flat(laws):
        why = "The rounds differ in k by more than chance, so the power law is used."
        return _by_power_law(laws, rounds, [*notes, why]) or common
    return common


def _surely_flat(laws: Laws) -> bool:
    power = laws.power_law
    return (
        power is not None
        and power.samples >= FEWEST_ROUNDS
        and power.b + ERRORS_BELOW * power.b_standard_error < STEEPEST
    )


def _by_power_law(laws: Laws, rounds: str, notes: list[str]) -> Clumping | None:
    power = laws.power_law
    if power is None or power.b >= STEEPEST:
        return None
    return Clumping(
        f"the power law of {rounds}", power_law=(power.a, power.b), notes=notes
    )


def _by_patchiness(laws: Laws, rounds: str, notes: list[str]) -> Clumping | None:
    line = laws.patchiness
    if line is None or line.alpha <= -1:
        return None
    return Clumping(
        f"the patchiness regression of {rounds}",
        patchiness=(line.alpha, line.beta),
        notes=notes,
    )


def _instead(common: Clumping, why: str) -> Clumping:
    return Clumping(
        common.source,
        k=common.k,
        notes=[*common.notes, f"The common k is used: {why} from these rounds."],
    )


def numbers_of_bags(most: int) -> FloatArray:
    """Give 1, 2, ... up to the most bags."""
    return np.arange(1.0, most + 1)
