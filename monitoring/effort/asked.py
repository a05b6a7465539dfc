"""What a plan is asked for, and everything it is worked out from."""

from dataclasses import dataclass
from typing import Any

from scipy import stats

from monitoring.effort.plans import Clumping, Scale
from monitoring.effort.trials import Trials
from monitoring.models import Organism
from monitoring.words import several

# Of the interval whose half-width a precision may be.
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Subject:
    """What is counted where: for the words of the page."""

    organism: Organism
    tissue: str
    block_name: str

    @property
    def bags(self) -> str:
        """The plural of what a bag holds, leaves being one a bag."""
        return several(self.tissue) if self.tissue == "leaf" else "bags"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the form asked for, in shares and not in percents."""

    density: float | None
    precision: float
    is_half_width: bool
    lower: float | None
    upper: float | None
    alpha: float
    beta: float
    animals: int | None
    fewest: int
    most: int
    seed: int

    @property
    def standard_error(self) -> float:
        """The precision as standard error over mean."""
        if not self.is_half_width:
            return self.precision
        return self.precision / float(stats.norm.ppf((1 + CONFIDENCE) / 2))

    @property
    def two_densities(self) -> tuple[float, float] | None:
        """The densities to tell apart, if both are known."""
        if self.lower is None or self.upper is None:
            return None
        return self.lower, self.upper


def wanted_of(cleaned: dict[str, Any]) -> Wanted:
    """Read a valid form."""
    return Wanted(
        density=cleaned["density"],
        precision=cleaned["precision_percent"] / 100,
        is_half_width=cleaned["precision_kind"] == "half_width",
        lower=cleaned["lower"],
        upper=cleaned["upper"],
        alpha=cleaned["alpha_percent"] / 100,
        beta=cleaned["beta_percent"] / 100,
        animals=cleaned["animals"],
        fewest=cleaned["fewest"],
        most=cleaned["most"],
        seed=cleaned["seed"],
    )


@dataclass(frozen=True, slots=True)
class Plan:
    """A block's plan: what is asked, and what it rests on."""

    subject: Subject
    wanted: Wanted
    scale: Scale
    clumping: Clumping
    trials: Trials
