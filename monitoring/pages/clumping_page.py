"""What the page of held clumping shows: what is in force, and what it does."""

from dataclasses import dataclass
from datetime import date
from math import exp
from statistics import NormalDist

from monitoring.models import ClumpingPrior
from monitoring.words import figure

# The central range that holds 95 in 100.
DEVIATES = NormalDist().inv_cdf(0.975)


@dataclass(frozen=True, slots=True)
class HeldClumping:
    """One organism and tissue: what earlier rounds told, in words and figures."""

    row: ClumpingPrior

    @property
    def k_words(self) -> str:
        """The middle of k and the range that holds 95 in 100."""
        return _range(self.row.k_median, self.row.k_sd_log)

    @property
    def sigma_words(self) -> str:
        """The middle of sigma and the range that holds 95 in 100."""
        return _range(self.row.sigma_median, self.row.sigma_sd_log)

    @property
    def shape_words(self) -> str:
        """Which shape the earlier rounds spoke for, and how strongly."""
        odds = self.row.lognormal_odds or 1.0
        if odds >= 3:
            return f"lognormal, {figure(odds)} to 1"
        if odds <= 1 / 3:
            return f"negative binomial, {figure(1 / odds)} to 1"
        return "either"

    @property
    def first_day(self) -> date | None:
        """The day of the oldest round that it was learned from."""
        return self._day(0)

    @property
    def last_day(self) -> date | None:
        """The day of the newest round that it was learned from."""
        return self._day(-1)

    def _day(self, place: int) -> date | None:
        if not self.row.basis:
            return None
        return date.fromisoformat(self.row.basis[place]["collected_on"])


def _range(median: float | None, sd_log: float | None) -> str:
    if median is None or sd_log is None:
        return "nothing held"
    reach = exp(DEVIATES * sd_log)
    low, high = figure(median / reach), figure(median * reach)
    return f"{figure(median)} ({low} to {high})"
