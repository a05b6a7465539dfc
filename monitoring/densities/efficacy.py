"""What a treatment did to a block's organisms, by the rounds around it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import fmean

from blocks.models import Block
from monitoring.densities.compute import estimate_of
from monitoring.densities.inputs import Settings, settings_of, shares_of
from monitoring.densities.samples import Sample, samples_of_rounds
from monitoring.estimation import (
    BetaRecovery,
    DensityEstimate,
    EfficacyEstimate,
    EstimationError,
    abbott,
    combine_strata,
    estimate_efficacy,
    henderson_tilton,
    schneider_orelli,
)
from monitoring.models import Density, Organism
from monitoring.queries.treatments import densities_around

# Later rounds tell of the season more than of the treatment.
MOST_ROUNDS_AFTER = 4
NO_CHECK_BLOCK = "no block was left untreated as a check"
NO_CHECK_ROUND = "the check has no such round near enough"
NO_ROUND_BEFORE = "no round before it is near enough"
CHECK_GREW = "the check did not fall, so there is no mortality to correct for"
UNLIKE_RECOVERIES = "the checks' rounds have different recoveries"


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Which rounds may be set against each other, in days."""

    before_days: int
    after_days: int
    apart_days: int


@dataclass(frozen=True, slots=True)
class _Around:
    """The day of a treatment, and which rounds around it may be used."""

    treated_on: date
    window: Window

    @property
    def first_day(self) -> date:
        """The first day of rounds before."""
        return self.treated_on - timedelta(days=self.window.before_days)

    @property
    def last_day(self) -> date:
        """The last day of rounds after."""
        return self.treated_on + timedelta(days=self.window.after_days)

    def nearest(self, rounds: Iterable["Used"], to: "Used | None") -> "Used | None":
        """Find a check's round nearest to one of the treated block, on its side."""
        if to is None:
            return None
        near = [
            one
            for one in rounds
            if (one.day > self.treated_on) == (to.day > self.treated_on)
            and abs((one.day - to.day).days) <= self.window.apart_days
        ]
        return min(near, key=lambda one: abs((one.day - to.day).days), default=None)


@dataclass(frozen=True, slots=True)
class Used:
    """One round's stored density, with its posterior and the plain mean of its bags.

    The mean takes every bag alike, however much of its dish was counted.
    """

    density: Density
    estimate: DensityEstimate
    plain_mean: float

    @property
    def day(self) -> date:
        """The day of the round."""
        return self.density.round.collected_on


@dataclass(frozen=True, slots=True)
class Line:
    """One formula: by the plain means, and by the posterior; or why not."""

    plain: float | None = None
    estimate: EfficacyEstimate | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One round after the treatment, set against others."""

    after: Used
    checks_before: list[Used]
    checks_after: list[Used]
    henderson_tilton: Line
    schneider_orelli: Line
    abbott: Line
    change: Line


@dataclass(frozen=True, slots=True)
class Effect:
    """What became of one organism on one tissue."""

    tissue: str
    organism: Organism
    before: Used | None
    comparisons: list[Comparison]


@dataclass(slots=True)
class _Series:
    """An organism's rounds on one tissue, by block, oldest first."""

    organism: Organism
    tissue: str
    by_block: dict[int, list[Used]] = field(default_factory=dict)


def effects_on(
    block: Block, checks: Sequence[Block], treated_on: date, window: Window
) -> list[Effect]:
    """Set the rounds around a treatment against each other; 4 queries.

    A round of the day itself counts as before: leaves are taken before spraying.
    """
    around = _Around(treated_on, window)
    margin = timedelta(days=window.apart_days)
    rows = densities_around(
        block.farm_group_id,
        [block.pk, *(check.pk for check in checks)],
        since=around.first_day - margin,
        until=around.last_day + margin,
    )
    found = [
        _effect(series, block, checks, around)
        for series in _series_of(block.farm_group_id, rows)
    ]
    found.sort(key=lambda one: (one.organism.position, one.tissue))
    return [one for one in found if one.comparisons]


def _series_of(farm_group_id: int, rows: Iterable[Density]) -> list[_Series]:
    densities = list(rows)
    settings = settings_of(farm_group_id)
    samples = {
        (one.round_id, one.tissue, one.organism_id): one
        for one in samples_of_rounds(
            farm_group_id, sorted({row.round_id for row in densities})
        )
    }
    found: dict[tuple[str, int], _Series] = {}
    for row in densities:
        sample = samples.get((row.round_id, row.tissue, row.organism_id))
        if sample is None or not sample.counted:
            continue
        used = _used(row, sample, settings)
        series = found.setdefault(
            (row.tissue, row.organism_id), _Series(row.organism, row.tissue)
        )
        series.by_block.setdefault(row.round.block_id, []).append(used)
    return list(found.values())


def _used(row: Density, sample: Sample, settings: Settings) -> Used:
    on = row.round.collected_on
    estimate = estimate_of(on, sample, settings)
    shares = shares_of(sample, settings.weights_on(on))
    if shares is None:
        washed_off = _mean_of(sample)
    else:
        washed_off = sum(
            share * _mean_of(sample.of_position(position))
            for position, share in shares.items()
        )
    recovery = estimate.recovery
    share_found = recovery.mean if isinstance(recovery, BetaRecovery) else recovery
    return Used(row, estimate, washed_off / share_found)


def _mean_of(sample: Sample) -> float:
    return fmean(
        bag.animals / (bag.proportion_counted * bag.units) for bag in sample.counted
    )


def _effect(
    series: _Series, block: Block, checks: Sequence[Block], around: _Around
) -> Effect:
    rounds = series.by_block.get(block.pk, [])
    before = next(
        (
            one
            for one in reversed(rounds)
            if around.first_day <= one.day <= around.treated_on
        ),
        None,
    )
    afters = [one for one in rounds if around.treated_on < one.day <= around.last_day]
    of_checks = [series.by_block.get(check.pk, []) for check in checks]
    comparisons = []
    for after in afters[:MOST_ROUNDS_AFTER]:
        pairs = [
            (around.nearest(rounds, before), around.nearest(rounds, after))
            for rounds in of_checks
        ]
        comparisons.append(_comparison(before, after, pairs))
    return Effect(series.tissue, series.organism, before, comparisons)


def _comparison(
    before: Used | None, after: Used, pairs: list[tuple[Used | None, Used | None]]
) -> Comparison:
    whole = [(first, second) for first, second in pairs if first and second]
    seconds = [second for _, second in pairs if second]
    four = _by_four(before, after, whole, any_check=bool(pairs))
    return Comparison(
        after=after,
        checks_before=[first for first, _ in whole],
        checks_after=seconds,
        henderson_tilton=four,
        schneider_orelli=_by_mortality(before, after, whole, four),
        abbott=_by_abbott(after, seconds, any_check=bool(pairs)),
        change=_change(before, after),
    )


def _by_four(
    before: Used | None,
    after: Used,
    whole: list[tuple[Used, Used]],
    *,
    any_check: bool,
) -> Line:
    if before is None or not whole:
        return Line(reason=_missing(before, any_check=any_check))
    try:
        check_before = _together([first for first, _ in whole])
        check_after = _together([second for _, second in whole])
    except EstimationError:
        return Line(reason=UNLIKE_RECOVERIES)
    estimate = estimate_efficacy(
        treated_before=before.estimate,
        treated_after=after.estimate,
        control_before=check_before,
        control_after=check_after,
    )
    if estimate.posterior is None:
        return Line(reason=estimate.reason)
    plain = henderson_tilton(
        treated_before=before.plain_mean,
        treated_after=after.plain_mean,
        control_before=_plain_mean([first for first, _ in whole]),
        control_after=_plain_mean([second for _, second in whole]),
    )
    return Line(plain, estimate, estimate.reason)


def _missing(before: Used | None, *, any_check: bool) -> str:
    if not any_check:
        return NO_CHECK_BLOCK
    return NO_ROUND_BEFORE if before is None else NO_CHECK_ROUND


def _by_mortality(
    before: Used | None, after: Used, whole: list[tuple[Used, Used]], four: Line
) -> Line:
    """Take mortalities from before and after: the same figure, where the check fell."""
    if before is None or four.estimate is None:
        return Line(reason=four.reason)
    check_before = _plain_mean([first for first, _ in whole])
    check_after = _plain_mean([second for _, second in whole])
    if check_after > check_before:
        return Line(reason=CHECK_GREW)
    left = after.plain_mean / before.plain_mean
    plain = schneider_orelli(
        treated_mortality_percent=100 * (1 - left),
        control_mortality_percent=100 * (1 - check_after / check_before),
    )
    return Line(plain, four.estimate, four.reason)


def _by_abbott(after: Used, seconds: list[Used], *, any_check: bool) -> Line:
    if not seconds:
        return Line(reason=NO_CHECK_ROUND if any_check else NO_CHECK_BLOCK)
    try:
        check = _together(seconds)
    except EstimationError:
        return Line(reason=UNLIKE_RECOVERIES)
    estimate = estimate_efficacy(treated_after=after.estimate, control_after=check)
    if estimate.posterior is None:
        return Line(reason=estimate.reason)
    plain = abbott(treated_after=after.plain_mean, control_after=_plain_mean(seconds))
    return Line(plain, estimate, estimate.reason)


def _change(before: Used | None, after: Used) -> Line:
    if before is None:
        return Line(reason=NO_ROUND_BEFORE)
    estimate = estimate_efficacy(
        treated_before=before.estimate, treated_after=after.estimate
    )
    if estimate.posterior is None:
        return Line(reason=estimate.reason)
    plain = 100 * (1 - after.plain_mean / before.plain_mean)
    return Line(plain, estimate, estimate.reason)


def _plain_mean(checks: Iterable[Used]) -> float:
    return fmean(one.plain_mean for one in checks)


def _together(checks: Sequence[Used]) -> DensityEstimate:
    """Give the mean of the checks' densities, each block alike."""
    if len(checks) == 1:
        return checks[0].estimate
    share = 1 / len(checks)
    return combine_strata([one.estimate for one in checks], [share] * len(checks))
