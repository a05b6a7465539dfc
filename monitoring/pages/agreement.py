"""What the page of the counters shows: agreement, the standard, each counter."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from monitoring.estimation import (
    Concordance,
    DriftTrend,
    EstimationError,
    EwmaChart,
    IntraclassCorrelation,
    concordance,
    counter_drift,
    ewma_chart,
    intraclass_correlation,
    limits_of_agreement,
)
from monitoring.figures.agreement import difference_figure, drift_figure
from monitoring.models import AgreementStandard, Tally
from monitoring.pages.agreement_standard import Judged, RatioLimits, judge
from monitoring.pages.readings import (
    SAME_COUNTER,
    TWO_COUNTERS,
    UNNAMED,
    Comparison,
    Pair,
    comparisons_of,
    full_dishes,
    pairs_of,
    table_of,
    whole_dishes,
)

# Below these nothing is estimated; limits from so few say little, as their own
# intervals show. Bland & Altman 1986 and Carkeet 2015 ask for far more.
FEWEST_PAIRS = 10
FEWEST_COMPARISONS = 8
FEWEST_DISHES_OF_THREE = 10
# A trend over less than this is no trend.
FEWEST_DAYS = 14
DAYS_OF_DRIFT = 100
HIGHEST_SHORT_OF_1 = 0.999


@dataclass(frozen=True, slots=True)
class CounterSummary:
    """One counter against the others."""

    name: str
    readings: int
    mean: float
    trend: DriftTrend | None
    chart: EwmaChart | None
    first_outside_on: date | None

    @property
    def mean_ratio(self) -> float:
        """The counter's readings over the others', on average."""
        return float(10**self.mean)

    @property
    def mean_interval(self) -> tuple[float, float] | None:
        """Its interval; None for too few readings."""
        if self.trend is None:
            return None
        return 10**self.trend.mean_low, 10**self.trend.mean_high

    @property
    def outside_now(self) -> bool:
        """Whether the newest moving average lies beyond its limits."""
        if self.chart is None:
            return False
        return not self.chart.low <= self.chart.averages[-1] <= self.chart.high

    @property
    def drift(self) -> tuple[float, float, float] | None:
        """How many times the ratio grows in 100 days, with its interval."""
        if self.trend is None:
            return None
        one, low, high = (
            float(10 ** (DAYS_OF_DRIFT * slope))
            for slope in (
                self.trend.slope_per_day,
                self.trend.slope_low,
                self.trend.slope_high,
            )
        )
        return one, low, high

    @property
    def drift_words(self) -> str:
        """The drift as the page tells it."""
        if self.drift is None:
            return "too few readings, or over too short a time"
        one, low, high = self.drift
        told = f"{one:.2f} times ({low:.2f} to {high:.2f})"
        return told if self.drifts else f"{told}: no drift to be told"

    @property
    def drifts(self) -> bool:
        """Whether the interval of the drift leaves out that there is none."""
        drift = self.drift
        return drift is not None and not drift[1] <= 1 <= drift[2]


@dataclass(frozen=True, slots=True)
class Agreement:
    """Everything on the page about one organism and tissue."""

    pairs: list[Pair]
    compared: list[Pair]
    concordance: Concordance | None
    reason: str
    limits: RatioLimits | None
    whole_limits: RatioLimits | None
    same_limits: RatioLimits | None
    icc: IntraclassCorrelation | None
    icc_names: list[str]
    icc_dishes: int
    judged: list[Judged]
    counters: list[CounterSummary]
    figure: dict[str, Any] | None
    drift: dict[str, Any] | None
    # Whether dishes looked at in cells were left out of the drift.
    drift_of_whole: bool

    @property
    def always_the_same(self) -> bool:
        """Whether both readings were the same in every dish."""
        return all(pair.log_ratio == 0 for pair in self.compared)

    @property
    def concordance_words(self) -> str:
        """Lin's coefficient with its interval, never rounded up to 1."""
        found = self.concordance
        if found is None:
            return ""
        if found.low == found.high:
            return "1: both readings were the same in every dish"
        return _coefficients(found.coefficient, found.low, found.high)

    @property
    def icc_words(self) -> str:
        """The intraclass correlation ICC(2,1) with its interval."""
        found = self.icc
        if found is None:
            return ""
        if found.low == found.high:
            return "1: all readings of a dish were the same"
        return _coefficients(found.icc_2_1, found.low, found.high)

    @property
    def unequal(self) -> int:
        """Pairs of a whole dish with cells."""
        return sum(pair.unequal_scope for pair in self.compared)

    @property
    def in_cells(self) -> int:
        """Pairs in which somebody looked at cells only."""
        return sum(not pair.whole for pair in self.compared)

    @property
    def empty(self) -> int:
        """Pairs in which neither found an animal."""
        return sum(pair.nothing_found for pair in self.compared)

    @property
    def same(self) -> int:
        """Dishes that one counter read twice."""
        return sum(pair.kind == SAME_COUNTER for pair in self.pairs)

    @property
    def unnamed(self) -> int:
        """Pairs of which it is not known who counted."""
        return sum(pair.kind == UNNAMED for pair in self.pairs)


def _coefficients(middle: float, low: float, high: float) -> str:
    """Write a coefficient with three decimals, and never round it up to 1."""
    if HIGHEST_SHORT_OF_1 < low < 1:
        return f"above {HIGHEST_SHORT_OF_1}"
    middle, low, high = (
        one if one >= 1 else min(one, HIGHEST_SHORT_OF_1) for one in (middle, low, high)
    )
    return f"{middle:.3f} ({low:.3f} to {high:.3f})"


def agreement_of(
    dishes: Sequence[Sequence[Tally]], standard: AgreementStandard | None
) -> Agreement:
    """Compare the readings of dishes that were read twice or more."""
    pairs = pairs_of(dishes)
    compared = [pair for pair in pairs if pair.kind == TWO_COUNTERS]
    coefficient, reason = _concordance(compared)
    limits = _limits(compared)
    names, table = table_of(dishes)
    full = full_dishes(dishes)
    wholes = whole_dishes(full)
    of_whole = len(wholes) >= FEWEST_PAIRS
    told = wholes if of_whole else full
    comparisons = comparisons_of(told)
    counters = _counters(
        comparisons,
        [pair for pair in pairs_of(told) if pair.kind == TWO_COUNTERS],
    )
    return Agreement(
        pairs=pairs[::-1],
        compared=compared,
        concordance=coefficient,
        reason=reason,
        limits=limits,
        whole_limits=_limits([pair for pair in compared if pair.whole]),
        same_limits=_limits([pair for pair in pairs if pair.kind == SAME_COUNTER]),
        icc=_icc(table),
        icc_names=names,
        icc_dishes=len(table),
        judged=judge(standard, coefficient, limits) if standard else [],
        counters=counters,
        figure=_difference_figure(compared, limits),
        drift=_drift_figure(counters, comparisons),
        drift_of_whole=of_whole and len(wholes) < len(full),
    )


def _difference_figure(
    compared: Sequence[Pair], limits: RatioLimits | None
) -> dict[str, Any] | None:
    if limits is None:
        return None
    return difference_figure(
        compared, low=limits.low, mean=limits.bias, high=limits.high
    )


def _concordance(pairs: Sequence[Pair]) -> tuple[Concordance | None, str]:
    if len(pairs) < FEWEST_PAIRS:
        return None, "too few pairs"
    try:
        return concordance(
            [pair.first.log_animals for pair in pairs],
            [pair.second.log_animals for pair in pairs],
        ), ""
    except EstimationError:
        return None, "one of the readings is the same in every dish"


def _limits(pairs: Sequence[Pair]) -> RatioLimits | None:
    if len(pairs) < FEWEST_PAIRS:
        return None
    return RatioLimits.of(
        limits_of_agreement(
            [pair.second.log_animals for pair in pairs],
            [pair.first.log_animals for pair in pairs],
        )
    )


def _icc(table: list[list[float]]) -> IntraclassCorrelation | None:
    if len(table) < FEWEST_DISHES_OF_THREE:
        return None
    try:
        return intraclass_correlation(table)
    except EstimationError:
        return None


def _counters(
    comparisons: dict[str, list[Comparison]], compared: Sequence[Pair]
) -> list[CounterSummary]:
    """Sum up each counter; `compared` gives the spread of a reading, if enough."""
    sd = 0.0
    if len(compared) >= FEWEST_PAIRS:
        sd = limits_of_agreement(
            [pair.second.log_animals for pair in compared],
            [pair.first.log_animals for pair in compared],
        ).sd
    summaries = [_summary(mine, sd) for mine in comparisons.values()]
    return sorted(summaries, key=lambda one: (-one.readings, one.name))


def _summary(mine: Sequence[Comparison], sd: float) -> CounterSummary:
    ratios = [one.log_ratio for one in mine]
    days = [float(one.day.toordinal()) for one in mine]
    trend = chart = None
    if len(mine) >= FEWEST_COMPARISONS and days[-1] - days[0] >= FEWEST_DAYS:
        trend = counter_drift(days, ratios)
        if sd > 0:
            chart = ewma_chart(ratios, centre=0.0, sd=sd)
    outside = chart.first_outside if chart else None
    return CounterSummary(
        name=mine[-1].name,
        readings=len(mine),
        mean=sum(ratios) / len(ratios),
        trend=trend,
        chart=chart,
        first_outside_on=None if outside is None else mine[outside].day,
    )


def _drift_figure(
    counters: Iterable[CounterSummary], comparisons: dict[str, list[Comparison]]
) -> dict[str, Any] | None:
    by_name = {mine[-1].name: mine for mine in comparisons.values()}
    drawn = [(one, by_name[one.name]) for one in counters if one.chart is not None]
    if not drawn:
        return None
    return drift_figure(
        [
            (one.name, [single.day for single in mine], one.chart)
            for one, mine in drawn
            if one.chart is not None
        ]
    )
