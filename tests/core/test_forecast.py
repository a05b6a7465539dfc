"""Forecasts of a crossing: against plain summation, by laws, and refused input."""

from math import log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from monitoring.estimation import (
    BetaRecovery,
    CountedRound,
    CrossingForecast,
    EstimationError,
    UsualGrowth,
    forecast_crossing,
)
from monitoring.estimation.growth_paths import (
    LEVEL_VARIANCE,
    NOISE_WEIGHTS,
    NOISES,
    follow_growth,
)
from monitoring.estimation.round_likelihoods import (
    LOG_MEANS,
    bags_in_a_row,
    round_likelihoods,
)
from tests.core import slow_growth

USUAL = UsualGrowth(mean=0.05, sd=0.05, keeps_for_days=150.0)
# Sparse at first, so that the first round's likelihood is far from normal.
COUNTS = [
    [0, 0, 1, 0, 0, 0, 0, 0],
    [3, 0, 5, 1, 0, 8, 2, 0],
    [9, 4, 30, 0, 12, 7, 22, 3],
]
DAYS = [0.0, 11.0, 20.0]


def _rounds(counts: list[list[int]], days: list[float]) -> list[CountedRound]:
    return [
        CountedRound(day=day, counts=seen)
        for day, seen in zip(days, counts, strict=True)
    ]


def _growing(rate: float = 0.1, *, start: float = 2.0) -> list[CountedRound]:
    rng = np.random.default_rng(3)
    days = [0.0, 10.0, 20.0, 30.0]
    return [
        CountedRound(
            day=day,
            counts=rng.poisson(start * np.exp(rate * day) * rng.gamma(2, 0.5, size=20)),
        )
        for day in days
    ]


def test_the_round_likelihood_is_the_sum_over_leaves_and_clumping() -> None:
    bags = bags_in_a_row([np.array(COUNTS[1], dtype=float)], [np.full(8, 0.5)])
    ours = round_likelihoods(bags)[0]
    theirs = slow_growth.likelihood(COUNTS[1], 0.5, LOG_MEANS, (0.02, 5.0))
    assert ours == pytest.approx(theirs / theirs.max(), abs=2e-3)


def _by_summation(level: float) -> tuple[float, float, float]:
    """Give the chance of being above a level at the last round and 10 days later.

    And the mean rate of growth over those ten days.
    """
    back = [day - DAYS[-1] for day in DAYS]
    ahead = [*back, 10.0]
    prior = slow_growth.covariance(ahead, level=LEVEL_VARIANCE, sd=0.05, keeps=150.0)
    # Fine steps: a path bends little between three rounds.
    nodes = [np.arange(low, low + 9, 0.08) for low in (-6.0, -2.5, -1.0)]
    seen = [slow_growth.likelihood(one, 1.0, LOG_MEANS, (0.02, 5.0)) for one in COUNTS]
    centre = float(seen[-1] @ LOG_MEANS / seen[-1].sum())
    middle = centre + USUAL.mean * np.array(ahead)
    grid = np.array(np.meshgrid(*nodes, indexing="ij")).reshape(3, -1).T
    held = stats.multivariate_normal.pdf(grid, middle[:3], prior[:3, :3])
    # What the three days say of the fourth, by regression.
    slopes = np.linalg.solve(prior[:3, :3], prior[:3, 3])
    left = float(np.sqrt(prior[3, 3] - prior[3, :3] @ slopes))
    later = middle[3] + (grid - middle[:3]) @ slopes
    mass = now = then = grew = 0.0
    for noise, weight in zip(NOISES, NOISE_WEIGHTS, strict=True):
        tables = [
            slow_growth.through_noise(one, LOG_MEANS, float(noise)) for one in seen
        ]
        weights = held * weight
        for place, table in enumerate(tables):
            weights = weights * np.interp(grid[:, place], LOG_MEANS, table)
        mass += weights.sum()
        # Half a node stands on either side of a node that is the level itself.
        above = np.clip((grid[:, 2] - level) / 0.08 + 0.5, 0, 1)
        now += (weights * above).sum()
        then += (weights * stats.norm.sf((level - later) / left)).sum()
        grew += (weights * (later - grid[:, 2]) / 10).sum()
    return now / mass, then / mass, grew / mass


def test_chances_and_growth_agree_with_plain_summation() -> None:
    now, then, grew = _by_summation(log(20.0))
    found = forecast_crossing(_rounds(COUNTS, DAYS), threshold=20.0, usual=USUAL)
    chances = found.chance_above([20.0, 30.0])
    assert chances[0] == pytest.approx(now, abs=0.01)
    assert chances[1] == pytest.approx(then, abs=0.01)
    assert found.paths is not None
    ahead = found.paths.log_means(np.array([0.0, 10.0]))
    means = ahead.weights @ ahead.means
    assert (means[1] - means[0]) / 10 == pytest.approx(grew, abs=0.002)


def test_the_rate_now_is_the_path_s_slope() -> None:
    bags = bags_in_a_row(
        [np.array(one, dtype=float) for one in COUNTS], [np.ones(8)] * 3
    )
    paths = follow_growth(np.array(DAYS), round_likelihoods(bags), USUAL)
    ahead = paths.log_means(np.array([-0.01, 0.0]))
    slopes = (ahead.means[:, 1] - ahead.means[:, 0]) / 0.01
    assert paths.rate_now().means[:, 0] == pytest.approx(slopes, abs=1e-4)


def test_plain_growth_gives_a_date_about_its_own() -> None:
    found = forecast_crossing(_growing(), threshold=110.0)
    assert found.outcome == "date"
    assert found.reason == ""
    assert found.low is not None
    assert found.day is not None
    assert found.high is not None
    assert found.low < found.day < found.high
    # 2 per leaf growing by .1 a day reach 110 on day 40.
    assert found.low < 40 < found.high
    assert found.rate_low is not None
    assert found.rate_high is not None
    assert found.rate_low < 0.1 < found.rate_high


def test_the_date_is_where_the_chance_is_even_and_the_ends_where_it_is_told() -> None:
    found = forecast_crossing(_growing(), threshold=110.0, confidence=0.8)
    days = [found.low or 0.0, found.day or 0.0, found.high or 0.0]
    assert found.chance_above(days) == pytest.approx([0.1, 0.5, 0.9], abs=0.005)


def test_densities_are_the_other_side_of_chances() -> None:
    found = forecast_crossing(_growing(), threshold=110.0)
    level = found.densities([35.0], 0.3)[0]
    again = forecast_crossing(_growing(), threshold=float(level))
    assert again.chance_above([35.0])[0] == pytest.approx(0.7, abs=1e-6)


@pytest.mark.parametrize(
    ("rounds", "threshold", "outcome", "words"),
    [
        (_growing()[:2], 100.0, "too_few_rounds", "2 rounds are too few"),
        (_growing()[:1], 100.0, "too_few_rounds", "one round is too few"),
        (_rounds([[0] * 9] * 4, [0, 8, 16, 24]), 10.0, "none_found", "no animal"),
        (_growing(), 5.0, "above", "more likely above"),
        (_growing(), 5000.0, "beyond", "more than 15 days ahead"),
        (
            _rounds([[5, 0, 30], [0, 22, 4], [9, 0, 40]], [0, 7, 14]),
            25.0,
            "unsure",
            "too unsure",
        ),
    ],
)
def test_where_there_is_no_date_there_is_a_reason(
    rounds: list[CountedRound], threshold: float, outcome: str, words: str
) -> None:
    found = forecast_crossing(rounds, threshold=threshold)
    assert found.outcome == outcome
    assert words in found.reason
    assert (found.day, found.low, found.high) == (None, None, None)


def test_without_growth_to_follow_there_are_no_chances() -> None:
    found = forecast_crossing(_growing()[:2], threshold=100.0)
    assert found.rate is None
    with pytest.raises(EstimationError, match="no growth"):
        found.chance_above([40.0])


def test_a_recovery_less_sure_makes_the_chance_less_sure() -> None:
    sure = forecast_crossing(_growing(), threshold=110.0, recovery=0.6)
    vague = forecast_crossing(
        _growing(), threshold=110.0, recovery=BetaRecovery(6.0, 4.0)
    )
    high = sure.densities([30.0], 0.9)[0] / sure.densities([30.0], 0.1)[0]
    higher = vague.densities([30.0], 0.9)[0] / vague.densities([30.0], 0.1)[0]
    assert higher > 1.2 * high


def _finite(found: CrossingForecast) -> bool:
    told = [found.rate, found.rate_low, found.rate_high]
    chances = found.chance_above([found.newest_day, found.newest_day + 30])
    return bool(np.isfinite(told).all() and np.isfinite(chances).all())  # type: ignore[arg-type] # mypy: they are numbers here


counts = st.lists(
    st.lists(st.integers(0, 5000), min_size=1, max_size=12), min_size=3, max_size=7
)


@settings(max_examples=60)
@given(
    counts,
    st.floats(0.01, 1e5),
    st.sampled_from([0.01, 0.1, 1.0]),
    st.integers(1, 40),
)
def test_any_counts_give_figures_and_a_higher_threshold_is_less_likely(
    seen: list[list[int]], threshold: float, share: float, gap: int
) -> None:
    rounds = [
        CountedRound(day=float(place * gap), counts=one, exposures=share)
        for place, one in enumerate(seen)
    ]
    found = forecast_crossing(rounds, threshold=threshold)
    if found.outcome == "none_found":
        return
    assert _finite(found)
    higher = forecast_crossing(rounds, threshold=threshold * 2)
    day = [found.newest_day + 5]
    assert higher.chance_above(day)[0] <= found.chance_above(day)[0] + 1e-9
    if found.day is not None and higher.day is not None:
        assert higher.day >= found.day - 1e-9


@settings(max_examples=25)
@given(st.floats(0.05, 1.0), st.integers(-400, 400))
def test_exposures_scale_the_density_and_days_only_shift(
    share: float, shift: int
) -> None:
    base = forecast_crossing(_growing(), threshold=100.0)
    moved = [
        CountedRound(day=one.day + shift, counts=one.counts, exposures=share)
        for one in _growing()
    ]
    found = forecast_crossing(moved, threshold=100.0 / share)
    if base.day is not None and found.day is not None:
        assert found.day - shift == pytest.approx(base.day, abs=0.05)
    assert found.rate == pytest.approx(base.rate, abs=1e-3)


@pytest.mark.parametrize(
    ("change", "argument"),
    [
        ({"threshold": 0.0}, "threshold"),
        ({"threshold": float("nan")}, "threshold"),
        ({"confidence": 1.0}, "confidence"),
        ({"rounds": []}, "rounds"),
        ({"rounds": [CountedRound(day=1.0, counts=[1])] * 2}, "rounds"),
        ({"rounds": [CountedRound(day=float("inf"), counts=[1])]}, "day"),
        ({"rounds": [CountedRound(day=1.0, counts=[1.5])]}, "counts"),
        ({"rounds": [CountedRound(day=1.0, counts=[])]}, "counts"),
        ({"rounds": [CountedRound(day=1.0, counts=[1], exposures=0.0)]}, "exposures"),
        (
            {"rounds": [CountedRound(day=1.0, counts=[1], exposures=[1, 1])]},
            "exposures",
        ),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, object], argument: str) -> None:
    given_: dict[str, object] = {"rounds": _growing(), "threshold": 100.0} | change
    rounds = given_.pop("rounds")
    with pytest.raises(EstimationError) as caught:
        forecast_crossing(rounds, **given_)  # type: ignore[arg-type] # wrong on purpose
    assert caught.value.argument == argument
