"""How much a treatment brought an organism down: four classic formulas, and intervals.

Henderson & Tilton's and Sun & Shepard's formulas are one and the same, and so is
Schneider-Orelli's where mortality is taken from counts before and after:
100 (1 - share left), share left = (treated after / before) / (check after / before).
"""

from dataclasses import dataclass, field
from math import inf, isfinite, log, nan

import numpy as np

from monitoring.estimation.convolution import LogTerm, convolve
from monitoring.estimation.posterior import DensityEstimate, GridPosterior
from monitoring.estimation.recovery import BetaRecovery
from monitoring.estimation.validation import EstimationError, proportion

NOTHING_BEFORE = "nothing was found before the treatment, so nothing can have fallen"
NOTHING_ON_CHECK_BEFORE = "nothing was found on the check before the treatment"
NOTHING_ON_CHECK_AFTER = "nothing was found on the check after the treatment"
NONE_LEFT = "none found after the treatment: lower limit only"
NO_LOWER_LIMIT = "these bags give no lower limit"


def abbott(*, treated_after: float, control_after: float) -> float:
    """Give Abbott's efficacy, percent, from densities after the treatment.

    treated_after, control_after: animals per unit, 0 or more; the check's above 0.
    Supposes that both stood alike before. Negative where more are on the treated.

    Raises EstimationError if a precondition fails.
    Source: Abbott 1925, J. Econ. Entomol. 18:265-267 (from memory).
    """
    after = _density("treated_after", treated_after)
    check = _divisor("control_after", control_after)
    return _percent(after / check)


def schneider_orelli(
    *, treated_mortality_percent: float, control_mortality_percent: float
) -> float:
    """Give Schneider-Orelli's efficacy, percent, from mortalities.

    treated_mortality_percent: of the treated, up to 100. control_mortality_percent:
    of the check, under 100. Below 0 means that numbers grew.

    Raises EstimationError if a precondition fails.
    Source: Schneider-Orelli 1947, Entomologisches Praktikum (from memory).
    """
    dead = _number("treated_mortality_percent", treated_mortality_percent)
    check = _number("control_mortality_percent", control_mortality_percent)
    if dead > 100:
        raise EstimationError("treated_mortality_percent", "cannot be above 100")
    if check >= 100:
        raise EstimationError(
            "control_mortality_percent",
            "must be below 100: where all died untreated, nothing is left to compare",
        )
    return 100 * (dead - check) / (100 - check)


def henderson_tilton(
    *,
    treated_before: float,
    treated_after: float,
    control_before: float,
    control_after: float,
) -> float:
    """Give Henderson & Tilton's efficacy, percent.

    treated_before, treated_after, control_before, control_after: animals per unit, 0
    or more; all but `treated_after` above 0. Negative where the treated fell less, or
    grew more, than the check.

    Raises EstimationError if a precondition fails.
    Source: Henderson & Tilton 1955, J. Econ. Entomol. 48:157-161 (from memory).
    """
    before = _divisor("treated_before", treated_before)
    after = _density("treated_after", treated_after)
    check_before = _divisor("control_before", control_before)
    check_after = _divisor("control_after", control_after)
    return _percent((after / before) * (check_before / check_after))


def sun_shepard(
    *,
    treated_before: float,
    treated_after: float,
    control_before: float,
    control_after: float,
) -> float:
    """Give Sun & Shepard's efficacy, percent; equal to Henderson & Tilton's.

    treated_before, treated_after, control_before, control_after: as there.

    Raises EstimationError if a precondition fails.
    Source: Sun & Shepard 1947, J. Econ. Entomol. 40:710-715 (from memory); the
    equality follows by substitution.
    """
    before = _divisor("treated_before", treated_before)
    after = _density("treated_after", treated_after)
    check_before = _divisor("control_before", control_before)
    check_after = _divisor("control_after", control_after)
    dead = 100 * (1 - after / before)
    check_change = 100 * (check_after - check_before) / check_before
    return 100 * (dead + check_change) / (100 + check_change)


def _number(argument: str, value: float) -> float:
    try:
        found = float(value)
    except (TypeError, ValueError) as error:
        raise EstimationError(argument, f"{value!r} is not a number") from error
    if not isfinite(found):
        raise EstimationError(argument, f"{value!r} is not a finite number")
    return found


def _density(argument: str, value: float) -> float:
    found = _number(argument, value)
    if found < 0:
        raise EstimationError(argument, f"{value!r} is below 0, which no density is")
    return found


def _divisor(argument: str, value: float) -> float:
    found = _density(argument, value)
    if found == 0:
        raise EstimationError(
            argument, "is 0: where nothing was found, nothing can be set against it"
        )
    return found


def _percent(share_left: float) -> float:
    return 100 * (1 - share_left)


@dataclass(frozen=True, kw_only=True)
class EfficacyEstimate:
    """Efficacy in percent: posterior median and interval, or why there is none.

    `percent`, `low` and `high` are nan where `posterior`, that of the share left, is
    None. `low` is -inf where the bags give no lower limit. All may be negative.
    """

    percent: float
    low: float
    high: float
    confidence: float
    reason: str
    posterior: GridPosterior | None = field(repr=False)

    def chance_above(self, percent: float) -> float:
        """Give the probability of an efficacy above a percentage; nan without one."""
        if self.posterior is None:
            return nan
        share = 1 - _number("percent", percent) / 100
        if share <= 0:
            return 0.0
        return float(self.posterior.probability_below(np.array([log(share)]))[0])


def estimate_efficacy(
    *,
    treated_after: DensityEstimate,
    treated_before: DensityEstimate | None = None,
    control_before: DensityEstimate | None = None,
    control_after: DensityEstimate | None = None,
    shared_recovery: bool = True,
    confidence: float = 0.95,
) -> EfficacyEstimate:
    """Estimate a treatment's efficacy, percent, from posteriors of densities.

    treated_after, treated_before, control_before, control_after: all four give
    Henderson & Tilton's (and Sun & Shepard's); the two after Abbott's; the treated
    before and after the plain change, which is not the treatment's effect alone.
    shared_recovery: whether equal recoveries are one and the same share, which then
    cancels; if not, each density has its own.
    confidence: of the central interval, in (0, 1).

    The posteriors are taken as independent. The interval tells how well the leaves
    were sampled; that two blocks may go apart by themselves is not in it.
    Raises EstimationError if other densities are given, or a precondition fails.
    Source: own derivation: the logarithm of the share left is a sum of independent
    terms, convolved on fixed nodes.
    """
    proportion("confidence", confidence)
    _check_given(treated_before, control_before, control_after)
    reason = _refusal(treated_before, control_before, control_after)
    if reason:
        return EfficacyEstimate(
            percent=nan,
            low=nan,
            high=nan,
            confidence=confidence,
            reason=reason,
            posterior=None,
        )
    above = [one for one in (treated_after, control_before) if one]
    below = [one for one in (treated_before, control_after) if one]
    signed = [*((one, 1) for one in above), *((one, -1) for one in below)]
    left = convolve(
        [*_washed_off(signed), *_recoveries(signed, shared=shared_recovery)]
    )
    tail = (1 - confidence) / 2
    best, middle, worst = left.quantiles(np.array([tail, 0.5, 1 - tail]))
    endless = any(one.high == inf for one in above)
    none_left = treated_after.animals == 0
    capped = none_left or any(one.high == inf for one in below)
    return EfficacyEstimate(
        percent=100.0 if none_left else _percent(float(middle)),
        low=-inf if endless else _percent(float(worst)),
        high=100.0 if capped else _percent(float(best)),
        confidence=confidence,
        reason=NONE_LEFT if none_left else NO_LOWER_LIMIT if endless else "",
        posterior=left,
    )


def _check_given(
    treated_before: DensityEstimate | None,
    control_before: DensityEstimate | None,
    control_after: DensityEstimate | None,
) -> None:
    if treated_before is None and control_after is None:
        raise EstimationError(
            "treated_before", "or the check after must be given, to set against"
        )
    if control_before is not None and (treated_before is None or control_after is None):
        raise EstimationError(
            "control_before", "needs the treated before and the check after with it"
        )
    if treated_before and control_after and control_before is None:
        raise EstimationError(
            "control_before", "is missing, beside the treated before and the check"
        )


def _refusal(
    treated_before: DensityEstimate | None,
    control_before: DensityEstimate | None,
    control_after: DensityEstimate | None,
) -> str:
    needed = (
        (treated_before, NOTHING_BEFORE),
        (control_before, NOTHING_ON_CHECK_BEFORE),
        (control_after, NOTHING_ON_CHECK_AFTER),
    )
    return next(
        (words for one, words in needed if one is not None and one.animals == 0), ""
    )


def _washed_off(signed: list[tuple[DensityEstimate, int]]) -> list[LogTerm]:
    return [LogTerm(one.washed_off, times) for one, times in signed]


def _recoveries(
    signed: list[tuple[DensityEstimate, int]], *, shared: bool
) -> list[LogTerm | float]:
    """Give what recoveries add to the logarithm: nothing where they cancel."""
    if not shared:
        return [_recovery_term(one.recovery, -times) for one, times in signed]
    times_of: dict[float | BetaRecovery, int] = {}
    for one, times in signed:
        times_of[one.recovery] = times_of.get(one.recovery, 0) + times
    return [_recovery_term(which, -times) for which, times in times_of.items() if times]


def _recovery_term(recovery: float | BetaRecovery, times: int) -> LogTerm | float:
    if not isinstance(recovery, BetaRecovery):
        return times * log(recovery)
    return LogTerm.of_recovery(recovery, times)
