"""How many bags a round takes, told by the block's own history, and why."""

from dataclasses import dataclass
from math import ceil, sqrt

from scipy import stats

from monitoring.effort.plans import Clumping, Scale, clumping_for, own_rounds, scale_of
from monitoring.models import RoundPlan
from monitoring.planning.errors import PlanError
from monitoring.queries.effort import Known
from monitoring.words import figure, several, stated

# Nobody bags more in a day; fewer tell nothing of how leaves differ.
MOST_BAGS, FEWEST_BAGS = 200, 5
# Of calling the one the other, either way; common practice.
RISK = 0.10
UNLIMITED = 1e6
Aim = RoundPlan.Aim


@dataclass(frozen=True, slots=True)
class Wish:
    """What the number of bags is for; a precision is a standard error over mean."""

    aim: str
    precision: float
    density: float | None = None
    lower: float | None = None
    upper: float | None = None
    stated: int | None = None


@dataclass(frozen=True, slots=True)
class Needed:
    """How many bags a wish takes, and the words for it."""

    bags: int
    words: str


def bags_needed(known: Known, wish: Wish) -> Needed:
    """Work out how many bags a wish takes on a block; PlanError where it cannot be."""
    if wish.aim == Aim.STATED:
        if wish.stated is None:
            raise PlanError("Write how many bags to take.", field="bags")
        return Needed(wish.stated, "A number that the planner stated.")
    own = own_rounds(known.history, known.block.pk)
    scale = scale_of(known.recovery, units=own.units, share_counted=1.0)
    clumping = clumping_for(
        own, exposure=scale.exposure, rounds="auto", law="auto", k=None
    )
    if wish.aim == Aim.PRECISION:
        return _for_precision(known, wish, scale, clumping)
    return _for_threshold(known, wish, scale, clumping)


def _for_precision(
    known: Known, wish: Wish, scale: Scale, clumping: Clumping
) -> Needed:
    density = wish.density or (known.newest.median if known.newest else None)
    if not density:
        raise PlanError(
            f"No density of {known.organism.name} is known of this block yet. Write the"
            " density that you expect, or state a number of bags.",
            field="density",
        )
    bags = clumping.bags_for(scale.counted(density), wish.precision)
    aim = f"give a standard error of {100 * wish.precision:.3g} in 100 of the mean"
    at = f"At about {figure(density)} {known.organism.name} per {known.tissue}"
    return _checked(
        bags, at=f"{at},", aim=aim, told_by=_told(clumping), tissue=known.tissue
    )


def _for_threshold(
    known: Known, wish: Wish, scale: Scale, clumping: Clumping
) -> Needed:
    filled = known.defaults
    lower = wish.lower or float(filled.get("lower", 0))
    upper = wish.upper or float(filled.get("upper", 0))
    if not lower or not upper:
        raise PlanError(
            f"This block has no threshold for {known.organism.name} on"
            f" {several(known.tissue)}. Write the two densities to tell apart, or"
            " choose a precision.",
            field="lower",
        )
    if lower >= upper:
        raise PlanError("The upper density must be above the lower.", field="upper")
    bags = _bags_between(scale.counted(lower), scale.counted(upper), clumping)
    aim = (
        f"tell {stated(lower)} from {stated(upper)} {known.organism.name} per"
        f" {known.tissue} with {100 * RISK:.0f} in 100 at risk of being wrong"
    )
    return _checked(
        bags, at="About", aim=aim, told_by=_told(clumping), tissue=known.tissue
    )


def _bags_between(lower: float, upper: float, clumping: Clumping) -> float:
    """Give the bags after which means at two densities part at the risks asked.

    The usual n = (z (s1 + s2) / (m2 - m1))^2 of two means of known variance (from
    memory), with the one k that belongs to the mean between them.
    """
    k = clumping.k_at(sqrt(lower * upper))
    spreads = sum(sqrt(mean + mean**2 / k) for mean in (lower, upper))
    z = float(stats.norm.ppf(1 - RISK))
    return (z * spreads / (upper - lower)) ** 2


def _told(clumping: Clumping) -> str:
    """Say what tells how animals clump."""
    return " ".join([f"told by {clumping.source}.", *clumping.notes])


def _checked(bags: float, *, at: str, aim: str, told_by: str, tissue: str) -> Needed:
    plural = several(tissue) if tissue == "leaf" else "bags"
    number = max(ceil(min(bags, UNLIMITED) - 1e-9), FEWEST_BAGS)
    if number > MOST_BAGS:
        many = f"More than {UNLIMITED:,.0f}" if bags > UNLIMITED else f"{number:,}"
        raise PlanError(
            f"{many} {plural} would be needed to {aim}. Ask for less, or state a"
            f" number up to {MOST_BAGS}.",
            field="aim",
        )
    fewest = f" (never fewer than {FEWEST_BAGS})" if bags <= FEWEST_BAGS - 1 else ""
    return Needed(number, f"{at} {number} {plural}{fewest} {aim}; {told_by}")
