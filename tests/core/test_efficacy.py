"""Efficacy: laws of the formulas, of the posterior, and what is refused."""

from collections.abc import Callable
from math import inf, isnan, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    BetaRecovery,
    DensityEstimate,
    EfficacyEstimate,
    EstimationError,
    abbott,
    estimate_densities,
    estimate_density,
    estimate_efficacy,
    henderson_tilton,
    schneider_orelli,
    sun_shepard,
)

RECOVERY = BetaRecovery(162.15, 27.83)
VAGUE = BetaRecovery(5.8, 4.2)
BEFORE = [120, 64, 210, 35, 88, 140, 19, 240, 76, 101, 55, 130]
AFTER = [12, 4, 31, 0, 9, 22, 2, 18, 7, 15, 3, 25]
CHECK_BEFORE = [90, 130, 41, 220, 75, 60, 150, 110, 33, 180, 95, 70]
CHECK_AFTER = [140, 200, 66, 310, 120, 95, 180, 160, 52, 240, 130, 110]
FOUR = ("treated_before", "treated_after", "control_before", "control_after")
above_zero = st.floats(0.001, 1e5)
counts = st.lists(st.integers(1, 400), min_size=4, max_size=12)


def of(
    *rounds: list[int],
    recovery: float | BetaRecovery = 1.0,
    shared_recovery: bool = True,
) -> EfficacyEstimate:
    densities = estimate_densities(rounds, recovery=recovery)
    return of_four(*densities, shared_recovery=shared_recovery)


def of_four(
    before: DensityEstimate,
    after: DensityEstimate,
    check_before: DensityEstimate,
    check_after: DensityEstimate,
    *,
    shared_recovery: bool = True,
) -> EfficacyEstimate:
    return estimate_efficacy(
        treated_before=before,
        treated_after=after,
        control_before=check_before,
        control_after=check_after,
        shared_recovery=shared_recovery,
    )


def ends(found: EfficacyEstimate) -> list[float]:
    return [found.low, found.percent, found.high]


@given(above_zero, st.floats(0, 1e5), above_zero, above_zero)
def test_henderson_tilton_equals_sun_shepard_and_schneider_orelli(
    before: float, after: float, check_before: float, check_after: float
) -> None:
    four = dict(zip(FOUR, (before, after, check_before, check_after), strict=True))
    found = henderson_tilton(**four)
    assert sun_shepard(**four) == pytest.approx(found, rel=1e-6, abs=1e-3)
    by_mortality = schneider_orelli(
        treated_mortality_percent=100 * (1 - after / before),
        control_mortality_percent=100 * (1 - check_after / check_before),
    )
    assert by_mortality == pytest.approx(found, rel=1e-6, abs=1e-3)


@given(above_zero, st.floats(0, 1e5), above_zero, above_zero, st.floats(0.05, 1))
def test_a_common_recovery_cancels(
    before: float, after: float, check_before: float, check_after: float, share: float
) -> None:
    four = dict(zip(FOUR, (before, after, check_before, check_after), strict=True))
    washed_off = {name: share * value for name, value in four.items()}
    assert henderson_tilton(**washed_off) == pytest.approx(
        henderson_tilton(**four), rel=1e-9, abs=1e-6
    )
    after_only = abbott(treated_after=share * after, control_after=share * check_after)
    assert after_only == pytest.approx(
        abbott(treated_after=after, control_after=check_after), rel=1e-9, abs=1e-6
    )


@given(st.floats(0, 1e5), above_zero, above_zero)
def test_like_before_henderson_tilton_is_abbott(
    after: float, before: float, check_after: float
) -> None:
    found = henderson_tilton(
        treated_before=before,
        treated_after=after,
        control_before=before,
        control_after=check_after,
    )
    expected = abbott(treated_after=after, control_after=check_after)
    assert found == pytest.approx(expected, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("formula", [henderson_tilton, sun_shepard])
@pytest.mark.parametrize("name", ["treated_before", "control_before", "control_after"])
@pytest.mark.parametrize("value", [0, -1, nan, inf])
def test_what_cannot_divide_is_refused_by_name(
    formula: Callable[..., float], name: str, value: float
) -> None:
    four = dict.fromkeys(FOUR, 100.0) | {name: value}
    with pytest.raises(EstimationError, match=name) as refused:
        formula(**four)
    assert refused.value.argument == name


@pytest.mark.parametrize("value", [-1, nan, "many", None])
def test_an_after_that_is_no_density_is_refused(value: float) -> None:
    with pytest.raises(EstimationError, match="treated_after"):
        abbott(treated_after=value, control_after=10)


def test_abbott_refuses_an_empty_check() -> None:
    with pytest.raises(EstimationError, match="nothing was found"):
        abbott(treated_after=5, control_after=0)


@pytest.mark.parametrize(
    ("treated", "check", "name"),
    [(101, 10, "treated"), (80, 100, "control"), (nan, 10, "treated")],
)
def test_schneider_orelli_refuses_mortality_that_cannot_be(
    treated: float, check: float, name: str
) -> None:
    with pytest.raises(EstimationError, match=name):
        schneider_orelli(
            treated_mortality_percent=treated, control_mortality_percent=check
        )


def test_the_posterior_agrees_with_draws() -> None:
    """Half a million independent draws by inversion, of an outside generator."""
    rounds = (BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER)
    densities = estimate_densities(rounds, recovery=RECOVERY)
    rng = np.random.default_rng(11)
    before, after, check_before, check_after = (
        one.washed_off.quantiles(rng.random(500_000)) for one in densities
    )
    drawn = 100 * (1 - (after / before) * (check_before / check_after))
    found = of(*rounds, recovery=RECOVERY)
    assert ends(found) == pytest.approx(
        np.quantile(drawn, [0.025, 0.5, 0.975]), abs=0.1
    )
    assert found.chance_above(90) == pytest.approx((drawn > 90).mean(), abs=0.004)


def test_different_recoveries_agree_with_draws() -> None:
    """Without a check, and the recovery restated between the rounds."""
    before = estimate_density(BEFORE, recovery=RECOVERY)
    after = estimate_density(AFTER, recovery=VAGUE)
    rng = np.random.default_rng(12)
    was, left = (
        one.washed_off.quantiles(rng.random(500_000)) for one in (before, after)
    )
    shares = (
        rng.beta(VAGUE.a, VAGUE.b, 500_000),
        rng.beta(RECOVERY.a, RECOVERY.b, 500_000),
    )
    drawn = 100 * (1 - (left / shares[0]) / (was / shares[1]))
    found = estimate_efficacy(treated_before=before, treated_after=after)
    assert ends(found) == pytest.approx(
        np.quantile(drawn, [0.025, 0.5, 0.975]), abs=0.2
    )


@settings(max_examples=15, deadline=None)
@given(counts, counts, counts, counts)
def test_a_recovery_in_common_cancels_in_the_posterior(
    before: list[int], after: list[int], check_before: list[int], check_after: list[int]
) -> None:
    """But for the prior's end, which lies higher where less is washed off."""
    rounds = (before, after, check_before, check_after)
    left = 100 - of(*rounds).percent
    assert 100 - of(*rounds, recovery=0.4).percent == pytest.approx(left, rel=0.01)
    assert 100 - of(*rounds, recovery=RECOVERY).percent == pytest.approx(left, rel=0.01)


def test_recoveries_of_their_own_widen_the_interval() -> None:
    rounds = (BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER)
    common = of(*rounds, recovery=VAGUE)
    apart = of(*rounds, recovery=VAGUE, shared_recovery=False)
    assert apart.low < common.low < common.high < apart.high


def test_a_recovery_restated_for_both_after_rounds_cancels_too() -> None:
    before, check_before = estimate_densities([BEFORE, CHECK_BEFORE], recovery=RECOVERY)
    after, check_after = estimate_densities([AFTER, CHECK_AFTER], recovery=VAGUE)
    found = of_four(before, after, check_before, check_after)
    plain = of(BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER)
    assert ends(found) == pytest.approx(ends(plain), abs=0.02)


@settings(max_examples=15, deadline=None)
@given(counts, st.randoms(use_true_random=False))
def test_the_order_of_bags_means_nothing(seen: list[int], random: object) -> None:
    shuffled = list(seen)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    assert ends(of(BEFORE, shuffled, CHECK_BEFORE, CHECK_AFTER)) == pytest.approx(
        ends(of(BEFORE, seen, CHECK_BEFORE, CHECK_AFTER)), rel=1e-9, abs=1e-9
    )


@settings(max_examples=15, deadline=None)
@given(counts)
def test_more_left_is_less_efficacy(seen: list[int]) -> None:
    more = [3 * count for count in seen]
    first = of(BEFORE, seen, CHECK_BEFORE, CHECK_AFTER)
    second = of(BEFORE, more, CHECK_BEFORE, CHECK_AFTER)
    assert second.percent < first.percent


def test_nothing_found_after_is_all_of_it_with_a_lower_limit() -> None:
    found = of(BEFORE, [0] * 12, CHECK_BEFORE, CHECK_AFTER, recovery=RECOVERY)
    assert (found.percent, found.high) == (100.0, 100.0)
    assert 90 < found.low < 100
    assert "lower limit only" in found.reason
    few = of(BEFORE, [0] * 4, CHECK_BEFORE, CHECK_AFTER, recovery=RECOVERY)
    assert few.low < found.low


def test_a_treatment_can_have_done_worse_than_nothing() -> None:
    found = of(CHECK_BEFORE, CHECK_AFTER, BEFORE, AFTER, recovery=RECOVERY)
    assert found.high < 0
    assert found.chance_above(0) < 0.001
    assert found.chance_above(-1e9) == pytest.approx(1)


def test_nothing_is_above_all_of_it() -> None:
    found = of(BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER)
    assert found.chance_above(100) == 0.0
    assert found.chance_above(250) == 0.0


@pytest.mark.parametrize("empty", ["treated_before", "control_before", "control_after"])
def test_an_empty_round_to_compare_with_is_said_in_words(empty: str) -> None:
    lists = dict(zip(FOUR, (BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER), strict=True))
    found = of(*(lists | {empty: [0] * 12}).values())
    assert all(isnan(end) for end in ends(found))
    assert "nothing was found" in found.reason
    assert isnan(found.chance_above(50))


def test_two_rounds_alone_give_abbott_or_the_plain_change() -> None:
    before, after, check = estimate_densities([BEFORE, AFTER, CHECK_AFTER])
    by_check = estimate_efficacy(treated_after=after, control_after=check)
    expected = abbott(treated_after=after.sample_mean, control_after=check.sample_mean)
    assert by_check.percent == pytest.approx(expected, abs=2)
    change = estimate_efficacy(treated_before=before, treated_after=after)
    fall = 100 * (1 - after.sample_mean / before.sample_mean)
    assert change.percent == pytest.approx(fall, abs=2)


@pytest.mark.parametrize(
    "names",
    [
        (),
        ("control_before",),
        ("control_before", "control_after"),
        ("treated_before", "control_before"),
        ("treated_before", "control_after"),
    ],
)
def test_other_sets_of_rounds_are_refused(names: tuple[str, ...]) -> None:
    one = estimate_density(BEFORE)
    with pytest.raises(EstimationError):
        estimate_efficacy(
            treated_after=one,
            treated_before=one if "treated_before" in names else None,
            control_before=one if "control_before" in names else None,
            control_after=one if "control_after" in names else None,
        )


def test_a_single_leaf_after_gives_no_lower_limit() -> None:
    one: DensityEstimate = estimate_density([3])
    found = estimate_efficacy(
        treated_before=estimate_density(BEFORE), treated_after=one
    )
    assert found.low == -inf
    assert found.reason == "these bags give no lower limit"


def test_one_and_the_same_input_gives_the_same_bits() -> None:
    rounds = (BEFORE, AFTER, CHECK_BEFORE, CHECK_AFTER)
    first, second = (of(*rounds, recovery=RECOVERY) for _ in range(2))
    assert ends(first) == ends(second)
    assert first.chance_above(80) == second.chance_above(80)


@pytest.mark.parametrize("clumping", [0.5, 1.0])
def test_the_interval_holds_the_truth(clumping: float) -> None:
    """400 simulated trials of four rounds of 10 leaves; invented densities.

    At 95 in 100, fewer than 91 in 100 would come once in 10,000 times.
    """
    means, trials, bags = (120, 18, 110, 140), 400, 10
    rng = np.random.default_rng([11, int(10 * clumping)])
    shares = rng.beta(RECOVERY.a, RECOVERY.b, trials)
    rounds = [
        rng.poisson(share * rng.gamma(clumping, mean / clumping, bags))
        for share in shares
        for mean in means
    ]
    densities = estimate_densities(rounds, recovery=RECOVERY)
    truth = henderson_tilton(**dict(zip(FOUR, means, strict=True)))
    held = 0
    for trial in range(trials):
        found = of_four(*densities[4 * trial : 4 * trial + 4])
        held += found.low <= truth <= found.high
    assert held / trials >= 0.91
