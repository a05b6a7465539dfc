"""Limits of agreement as ratios, and the lab's standard held against them."""

from dataclasses import dataclass

from monitoring.estimation import AgreementLimits, Concordance
from monitoring.models import AgreementStandard

MET, NOT_MET, NOT_SETTLED = "met", "not met", "not settled"
# So many dishes read alike, and none otherwise, leave 5 in 100 for more than 5 in 100
# that are not: 0.95 ** 59 (Wilks 1941, Ann. Math. Statist. 12:91-96).
ENOUGH_ALIKE = 59


@dataclass(frozen=True, slots=True)
class RatioLimits:
    """Limits of agreement of counts, back on their own scale as ratios."""

    pairs: int
    bias: float
    bias_low: float
    bias_high: float
    low: float
    high: float
    low_range: tuple[float, float]
    high_range: tuple[float, float]

    @classmethod
    def of(cls, limits: AgreementLimits) -> "RatioLimits":
        """Turn limits of log10 into ratios."""
        return cls(
            pairs=limits.pairs,
            bias=10**limits.bias,
            bias_low=10**limits.bias_low,
            bias_high=10**limits.bias_high,
            low=10**limits.low,
            high=10**limits.high,
            low_range=(10 ** limits.low_range[0], 10 ** limits.low_range[1]),
            high_range=(10 ** limits.high_range[0], 10 ** limits.high_range[1]),
        )

    @property
    def widest(self) -> float:
        """How many times apart readings are at the wider limit."""
        return max(self.high, 1 / self.low)

    @property
    def widest_range(self) -> tuple[float, float]:
        """Between which figures that lies, by the limits' own intervals."""
        inner = max(self.high_range[0], 1 / self.low_range[1], 1.0)
        return inner, max(self.high_range[1], 1 / self.low_range[0])


@dataclass(frozen=True, slots=True)
class Judged:
    """A figure against the lab's standard: met, not met or not settled."""

    asked: str
    verdict: str


def judge(
    standard: AgreementStandard,
    coefficient: Concordance | None,
    limits: RatioLimits | None,
) -> list[Judged]:
    """Hold the figures against the standard, with their uncertainty."""
    judged = []
    if limits is not None and limits.low == limits.high:
        asked = f"second readings within {standard.widest_ratio:g} times the first"
        verdict = verdict_of(
            met=limits.pairs >= ENOUGH_ALIKE,
            missed=limits.widest > standard.widest_ratio,
        )
        return [Judged(f"{asked} (all so far are {limits.high:.2f} times)", verdict)]
    if coefficient is not None:
        least = standard.least_concordance
        judged.append(
            Judged(
                f"concordance at least {least:g}",
                verdict_of(
                    met=coefficient.low >= least, missed=coefficient.high < least
                ),
            )
        )
    if limits is not None:
        widest = standard.widest_ratio
        inner, outer = limits.widest_range
        judged.append(
            Judged(
                f"95 in 100 second readings within {widest:g} times the first",
                verdict_of(met=outer <= widest, missed=inner > widest),
            )
        )
    return judged


def verdict_of(*, met: bool, missed: bool) -> str:
    """Say how a figure stands whose interval is met, missed, or neither."""
    if missed:
        return NOT_MET
    return MET if met else NOT_SETTLED
