"""Strata put together and ratios taken: laws and edges."""

from math import inf, isnan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    PROBABILITIES,
    BetaRecovery,
    DensityEstimate,
    EstimationError,
    StoredPosterior,
    combine_strata,
    estimate_densities,
    estimate_density,
    estimate_ratio,
    fieller_interval,
    log_delta_interval,
    stratified_mean,
)

RECOVERY = BetaRecovery(162.15, 27.83)
SHOWN = [0.025, 0.1, 0.5, 0.9, 0.975]
PREDATORS = [2, 0, 1, 3, 1, 0, 2, 1, 4, 0, 1, 2]
PREY = [30, 12, 45, 60, 22, 8, 51, 17, 80, 5, 33, 40]
counts = st.lists(st.integers(0, 500), min_size=3, max_size=15)


def both(recovery: float | BetaRecovery = 1.0) -> list[DensityEstimate]:
    return estimate_densities([PREDATORS, PREY], recovery=recovery)


@settings(max_examples=25, deadline=None)
@given(counts)
def test_one_stratum_is_its_own_density(seen: list[int]) -> None:
    whole = estimate_density(seen, recovery=RECOVERY)
    found = combine_strata([whole], [1.0])
    assert found.quantiles_at(SHOWN) == pytest.approx(whole.quantiles_at(SHOWN))
    assert found.sample_mean == pytest.approx(whole.sample_mean)
    assert (found.low, found.high) == pytest.approx((whole.low, whole.high))


@settings(max_examples=25, deadline=None)
@given(counts, counts)
def test_order_of_strata_means_nothing_and_weights_pull(
    first: list[int], second: list[int]
) -> None:
    parts = estimate_densities([first, second], recovery=RECOVERY)
    found = combine_strata(parts, [0.3, 0.7])
    swapped = combine_strata(parts[::-1], [0.7, 0.3])
    assert swapped.quantiles_at(SHOWN) == pytest.approx(
        found.quantiles_at(SHOWN), rel=1e-6
    )
    weighted = 0.3 * parts[0].sample_mean + 0.7 * parts[1].sample_mean
    assert found.sample_mean == pytest.approx(weighted)
    assert found.bags == len(first) + len(second)


def test_a_stratum_without_weight_counts_for_nothing_but_its_bags() -> None:
    parts = estimate_densities([PREY, PREDATORS])
    found = combine_strata(parts, [1.0, 0.0])
    assert found.quantiles_at(SHOWN) == pytest.approx(parts[0].quantiles_at(SHOWN))


def test_an_even_mix_of_alike_strata_is_surer_than_either() -> None:
    part = estimate_density(PREY)
    found = combine_strata([part, part], [0.5, 0.5])
    assert found.high / found.low < part.high / part.low
    assert found.median == pytest.approx(part.median, rel=0.05)


def test_recovery_is_integrated_once_for_all_strata() -> None:
    """Were it integrated for each, its doubt would average out over the strata."""
    vague = BetaRecovery(8, 2)
    many = np.random.default_rng(4).poisson(200, 60)
    part = estimate_density(many, recovery=vague)
    found = combine_strata([part] * 4, [0.25] * 4)
    low, high = vague.interval(0.95)
    assert found.high / found.low == pytest.approx(high / low, rel=0.05)
    alone = estimate_density(many, recovery=vague)
    assert found.high / found.low > 0.95 * alone.high / alone.low


def test_strata_without_an_upper_limit_have_none_together() -> None:
    parts = estimate_densities([[7], [0, 0]])
    assert combine_strata(parts, [0.5, 0.5]).high == inf


@settings(max_examples=40, deadline=None)
@given(st.lists(counts, min_size=2, max_size=4))
def test_plain_stratified_mean_of_equal_weights_is_the_mean_of_means(
    strata: list[list[int]],
) -> None:
    found = stratified_mean(strata, [1 / len(strata)] * len(strata))
    assert found.mean == pytest.approx(np.mean([np.mean(one) for one in strata]))
    assert found.low <= found.mean <= found.high


@settings(max_examples=20, deadline=None)
@given(counts.filter(any), counts.filter(any))
def test_a_shared_recovery_cancels(first: list[int], second: list[int]) -> None:
    all_off = estimate_ratio(*estimate_densities([first, second], upper_limit=1e8))
    shared = estimate_ratio(
        *estimate_densities([first, second], recovery=RECOVERY, upper_limit=1e8),
        shared_recovery=True,
    )
    assert shared.ratio == pytest.approx(all_off.ratio, rel=0.01)
    assert shared.low == pytest.approx(all_off.low, rel=0.01)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.integers(1, 500), min_size=8, max_size=15),
    st.lists(st.integers(1, 500), min_size=8, max_size=15),
)
def test_the_ratio_the_other_way_round_is_the_inverse(
    first: list[int], second: list[int]
) -> None:
    one, other = estimate_densities([first, second])
    found, inverse = estimate_ratio(one, other), estimate_ratio(other, one)
    assert found.ratio * inverse.ratio == pytest.approx(1, rel=0.005)
    assert found.low * inverse.high == pytest.approx(1, rel=0.01)
    assert found.chance_below(2.0) == pytest.approx(
        1 - inverse.chance_below(0.5), abs=0.002
    )


def test_leaves_that_go_together_make_a_surer_ratio() -> None:
    widths = []
    for correlation in (-0.7, 0.0, 0.7):
        found = estimate_ratio(*both(), rank_correlation=correlation)
        widths.append(found.high / found.low)
    assert widths[0] > widths[1] > widths[2]


def test_separate_recoveries_widen_the_ratio() -> None:
    vague = BetaRecovery(8, 2)
    apart = estimate_ratio(*both(vague))
    shared = estimate_ratio(*both(vague), shared_recovery=True)
    assert apart.high / apart.low > shared.high / shared.low


def test_no_prey_gives_no_ratio_but_a_reason() -> None:
    predators, none = estimate_densities([PREDATORS, [0] * 12])
    found = estimate_ratio(predators, none)
    assert isnan(found.ratio)
    assert isnan(found.low)
    assert isnan(found.high)
    assert found.reason == "no prey found"
    assert isnan(found.chance_below(0.1))
    with pytest.raises(EstimationError, match="no prey found"):
        found.quantiles_at(PROBABILITIES)


def test_no_predators_give_an_upper_limit_only() -> None:
    none, prey = estimate_densities([[0] * 12, PREY])
    found = estimate_ratio(none, prey)
    assert found.low == 0
    assert 0 < found.ratio < 0.01 < found.high < 0.5
    assert "no predators" in found.reason
    assert found.chance_below(found.high) == pytest.approx(0.975, abs=1e-6)


def test_neither_is_said_as_neither() -> None:
    none = estimate_density([0] * 12)
    assert estimate_ratio(none, none).reason.startswith("neither")


def test_a_stored_ratio_tells_nearly_the_same_chances() -> None:
    found = estimate_ratio(*both(RECOVERY))
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    for value in (0.02, 0.03, 0.04, 0.05, 0.08):
        assert stored.chance_below(value) == pytest.approx(
            found.chance_below(value), abs=0.003
        )
    assert found.chance_below(0) == 0
    assert found.chance_below(1e9) == 1


def test_fieller_is_unbounded_where_the_denominator_may_be_nothing() -> None:
    found = fieller_interval([1, 2, 3], [0, 0, 9])
    assert found.g >= 1
    assert not found.bounded
    assert (found.low, found.high) == (-inf, inf)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(1, 5), min_size=5, max_size=20),
    st.floats(0.1, 10),
)
def test_fieller_scales_with_the_numerator(below: list[float], factor: float) -> None:
    above = [value + 0.1 * at for at, value in enumerate(below)]
    small = fieller_interval(above, below)
    large = fieller_interval([factor * value for value in above], below)
    assert large.ratio == pytest.approx(factor * small.ratio)
    assert large.bounded == small.bounded
    if small.bounded:
        assert large.low == pytest.approx(factor * small.low, rel=1e-6, abs=1e-6)
        assert large.high == pytest.approx(factor * small.high, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("weights", lambda: combine_strata(both(), [0.5, 0.6])),
        ("weights", lambda: combine_strata(both(), [1.0])),
        ("weights", lambda: combine_strata(both(), [-0.5, 1.5])),
        ("weights", lambda: combine_strata([], [1.0])),
        (
            "densities",
            lambda: combine_strata([both()[0], both(RECOVERY)[1]], [0.5, 0.5]),
        ),
        ("weights", lambda: stratified_mean([[1, 2]], [0.4])),
        ("strata", lambda: stratified_mean([[1, 2], [3]], [0.5, 0.5])),
        ("strata", lambda: stratified_mean([[1, 2], [3, -1]], [0.5, 0.5])),
        ("confidence", lambda: stratified_mean([[1, 2]], [1.0], confidence=0)),
        ("rank_correlation", lambda: estimate_ratio(*both(), rank_correlation=1)),
        ("confidence", lambda: estimate_ratio(*both(), confidence=1.5)),
        ("denominator", lambda: fieller_interval([1, 2], [0, 0])),
        ("denominator", lambda: fieller_interval([1, 2], [1, 2, 3])),
        ("numerator", lambda: fieller_interval([1], [1])),
        ("confidence", lambda: fieller_interval([1, 2], [1, 2], confidence=1)),
    ],
)
def test_what_cannot_be_is_refused_by_name(argument: str, call: object) -> None:
    with pytest.raises(EstimationError) as refused:
        call()  # type: ignore[operator] # each is a call without arguments
    assert refused.value.argument == argument


def test_log_delta_of_swapped_samples_is_the_inverse() -> None:
    above, below = [2, 0, 1, 3, 4], [30, 12, 45, 60, 80]
    one, other = log_delta_interval(above, below), log_delta_interval(below, above)
    assert one.low == pytest.approx(1 / other.high)
    assert one.high == pytest.approx(1 / other.low)


def test_log_delta_without_pairs_takes_no_covariance() -> None:
    above, below = [2, 0, 1, 3, 4], [30, 12, 45, 60, 80]
    paired = log_delta_interval(above, below)
    apart = log_delta_interval(above, below[::-1], paired=False)
    assert apart.log_standard_error > paired.log_standard_error
    assert apart.ratio == pytest.approx(paired.ratio)


@pytest.mark.parametrize(
    ("above", "below", "argument"),
    [
        ([0, 0], [1, 2], "numerator"),
        ([1, 2], [0, 0], "denominator"),
        ([1], [1, 2], "numerator"),
        ([1, 2, 3], [1, 2], "denominator"),
        ([1, float("nan")], [1, 2], "numerator"),
    ],
)
def test_log_delta_names_what_it_cannot_take(
    above: list[float], below: list[float], argument: str
) -> None:
    with pytest.raises(EstimationError) as caught:
        log_delta_interval(above, below)
    assert caught.value.argument == argument
