"""Laws that any sensible density keeps, and what is decided at the edges."""

from itertools import pairwise
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitoring.estimation import (
    PROBABILITIES,
    BetaRecovery,
    ExponentialSigma,
    LogNormalK,
    LogUniformK,
    StoredPosterior,
    estimate_densities,
    estimate_density,
    profile_interval,
    zero_count_upper_limit,
)
from monitoring.estimation.density import Model
from monitoring.estimation.validation import Numbers

RECOVERY = BetaRecovery(162.15, 27.83)
SHOWN = [0.025, 0.1, 0.5, 0.9, 0.975]
counts = st.lists(st.integers(0, 3000), min_size=1, max_size=25)
by_both_models = pytest.mark.parametrize("model", ["negative_binomial", "averaged"])


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts, st.randoms(use_true_random=False))
def test_order_of_bags_means_nothing(
    model: Model, seen: list[int], order: object
) -> None:
    shuffled = list(seen)
    order.shuffle(shuffled)  # type: ignore[attr-defined] # a random.Random
    first, second = (estimate_density(one, model=model) for one in (seen, shuffled))
    assert second.quantiles_at(SHOWN) == pytest.approx(
        first.quantiles_at(SHOWN), rel=1e-9
    )


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts, st.sampled_from([0.5, 0.1, 0.01]))
def test_density_scales_with_one_over_the_proportion_counted(
    model: Model, seen: list[int], share: float
) -> None:
    """Only the mean times the proportion is seen; the prior's end scales along."""
    whole = estimate_density(seen, model=model, upper_limit=1e6)
    part = estimate_density(
        seen, model=model, proportions_counted=share, upper_limit=1e6 / share
    )
    assert share * part.quantiles_at(SHOWN) == pytest.approx(
        whole.quantiles_at(SHOWN), rel=1e-7
    )
    assert part.sample_mean == pytest.approx(whole.sample_mean / share)


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts, st.floats(0.05, 1))
def test_density_scales_with_one_over_a_known_recovery(
    model: Model, seen: list[int], recovery: float
) -> None:
    all_off = estimate_density(seen, model=model, upper_limit=1e6)
    some_off = estimate_density(
        seen, model=model, recovery=recovery, upper_limit=1e6 / recovery
    )
    assert recovery * some_off.quantiles_at(SHOWN) == pytest.approx(
        all_off.quantiles_at(SHOWN), rel=1e-7
    )


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts, st.integers(2, 20))
def test_units_in_the_bag_count_as_exposure(
    model: Model, seen: list[int], units: int
) -> None:
    each = estimate_density(seen, model=model, upper_limit=1e6)
    together = estimate_density(seen, model=model, units=units, upper_limit=1e6 / units)
    assert units * together.quantiles_at(SHOWN) == pytest.approx(
        each.quantiles_at(SHOWN), rel=1e-7
    )


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts)
def test_quantiles_rise_chances_fall_and_they_undo_each_other(
    model: Model, seen: list[int]
) -> None:
    found = estimate_density(seen, model=model, recovery=RECOVERY)
    values = found.quantiles_at(PROBABILITIES)
    assert (np.diff(values) >= 0).all()
    chances = [found.chance_above(float(value)) for value in values]
    assert all(after <= before for before, after in pairwise(chances))
    assert found.low <= found.median <= found.high
    assert found.chance_above(0) == 1
    for at in SHOWN:
        assert found.chance_above(found.quantile(at)) == pytest.approx(1 - at, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(counts, st.integers(1, 500), st.floats(0.05, 4))
def test_more_animals_mean_a_higher_density_where_k_is_known(
    seen: list[int], more: int, k: float
) -> None:
    """With k unknown it need not: one more in each of (0, 6) also says less clumped."""
    known = LogUniformK(k, k * (1 + 1e-9))
    before = estimate_density(seen, k_prior=known)
    after = estimate_density([seen[0] + more, *seen[1:]], k_prior=known)
    assert (after.quantiles_at(SHOWN) > before.quantiles_at(SHOWN)).all()


@settings(max_examples=40, deadline=None)
@given(counts, st.integers(1, 500), st.floats(0.3, 2))
def test_more_animals_mean_a_higher_density_where_leaves_are_lognormal(
    seen: list[int], more: int, sigma: float
) -> None:
    """Of one known spread; averaged, one animal more may also say which model."""
    known = ExponentialSigma(rate=0, low=sigma, high=sigma * (1 + 1e-9))
    before, after = (
        estimate_density(
            [seen[0] + extra, *seen[1:]],
            model="averaged",
            sigma_prior=known,
            lognormal_odds=1e200,
        )
        for extra in (0, more)
    )
    assert (after.quantiles_at(SHOWN) > before.quantiles_at(SHOWN)).all()


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts.filter(any), st.integers(3, 50))
def test_several_times_as_many_in_every_bag_raise_the_median(
    model: Model, seen: list[int], times: int
) -> None:
    """As many more in each need not: that also says less clumped."""
    before = estimate_density(seen, model=model)
    after = estimate_density([times * one for one in seen], model=model)
    assert after.median > before.median


@by_both_models
@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(1, 3000), min_size=6, max_size=25))
def test_a_vague_recovery_widens_the_interval(model: Model, seen: list[int]) -> None:
    sure = estimate_density(seen, model=model, recovery=RECOVERY.mean)
    loose = BetaRecovery(162.15 / 40, 27.83 / 40)
    vague = estimate_density(seen, model=model, recovery=loose)
    assert vague.quantile(0.975) / vague.low > sure.quantile(0.975) / sure.low


def test_an_upper_limit_ends_where_a_hundredth_lies_near_the_priors_end() -> None:
    for bags in range(3, 30):
        found = estimate_density([0] * bags, k_prior=LogUniformK(0.02, 0.1))
        assert (found.high == inf) == (found.chance_above(1e5) > 0.01)


@by_both_models
@settings(max_examples=40, deadline=None)
@given(counts, st.floats(0.001, 1e5))
def test_stored_quantiles_tell_nearly_the_same_chances(
    model: Model, seen: list[int], threshold: float
) -> None:
    found = estimate_density(seen, model=model, recovery=RECOVERY)
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    assert stored.chance_above(threshold) == pytest.approx(
        found.chance_above(threshold), abs=0.003
    )
    for at in SHOWN:
        assert stored.quantile(at) == pytest.approx(found.quantile(at), rel=1e-6)


def test_the_certainties_that_pages_show_are_among_the_stored() -> None:
    for at in (0.025, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975):
        assert at in PROBABILITIES
    assert (np.diff(PROBABILITIES) > 0).all()
    assert 90 <= PROBABILITIES.size <= 110


def test_a_stored_posterior_at_its_edges() -> None:
    found = estimate_density([0, 3, 12])
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    assert stored.chance_above(0) == 1
    assert stored.chance_above(-1) == 1
    assert stored.chance_below(0) == 0
    assert 0 < stored.chance_above(1e-12) <= 1
    assert 0 <= stored.chance_above(1e12) < 0.001
    assert stored.quantile(1e-9) < stored.quantile(0.001) < stored.quantile(1 - 1e-9)


def test_a_stored_posterior_of_equal_quantiles_still_answers() -> None:
    stored = StoredPosterior((2.0,) * PROBABILITIES.size)
    assert stored.chance_above(1.9) == pytest.approx(1)
    assert stored.chance_above(2.1) == pytest.approx(0)


@by_both_models
def test_one_bag_gives_a_wide_interval(model: Model) -> None:
    found = estimate_density([7], model=model)
    assert found.bags == 1
    assert found.low < 7 < found.median * 2
    assert found.high > 1000 * found.low
    assert found.sample_mean == 7


def test_one_bag_has_no_upper_limit_by_the_negative_binomial() -> None:
    assert estimate_density([7]).high == inf


@by_both_models
def test_nothing_found_gives_an_upper_bound_that_more_bags_lower(model: Model) -> None:
    found = [estimate_density([0] * bags, model=model) for bags in (10, 20, 40, 80)]
    highs = [one.high for one in found]
    assert all(after < before for before, after in pairwise(highs))
    assert highs[-1] < 0.1
    assert all(one.low < 0.01 * one.high for one in found)
    assert all(one.sample_mean == 0 for one in found)


def test_nothing_found_is_near_the_closed_limit_for_the_same_k() -> None:
    """The posterior's one-sided limit against P(all zero) = 0.05, k known."""
    found = estimate_density([0] * 20, k_prior=LogUniformK(0.3, 0.3 * (1 + 1e-9)))
    limit = zero_count_upper_limit(bags=20, k=0.3)
    assert found.quantile(0.95) == pytest.approx(limit, rel=0.5)


@by_both_models
def test_two_empty_bags_give_no_upper_limit(model: Model) -> None:
    assert estimate_density([0, 0], model=model).high == inf


def test_a_history_of_k_narrows_the_interval() -> None:
    seen = [3, 0, 9, 1, 22]
    anything = estimate_density(seen)
    known = estimate_density(seen, k_prior=LogNormalK(0.6, 0.35))
    assert known.high / known.low < anything.high / anything.low


@by_both_models
def test_many_bags_close_in_on_their_mean_and_k(model: Model) -> None:
    chance = np.random.default_rng(2)
    seen = chance.poisson(chance.gamma(0.8, 30 / 0.8, 4000))
    found = estimate_density(seen, model=model)
    assert found.low < found.sample_mean < found.high
    assert found.high / found.low < 1.1
    assert found.median == pytest.approx(found.sample_mean, rel=0.01)
    assert found.k_median == pytest.approx(0.8, rel=0.1)


@by_both_models
def test_huge_counts_and_a_mean_beyond_the_limit_still_answer(model: Model) -> None:
    found = estimate_density([10**9, 2 * 10**9, 0], model=model)
    assert found.high == inf
    assert 0 < found.low <= found.median <= 1e6 * (1 + 1e-9)


def test_no_rounds_give_no_estimates() -> None:
    assert estimate_densities([]) == []


def test_every_keyword_may_differ_by_round() -> None:
    shares: list[Numbers | float] = [[0.5, 1.0], 1.0]
    units: list[Numbers | float] = [2, [1, 3]]
    first, second = estimate_densities(
        [[1, 2], [3, 4]],
        proportions_counted=shares,
        units=units,
        recovery=[0.5, RECOVERY],
        k_prior=[LogUniformK(0.02, 5), LogNormalK(1, 0.2)],
        model=["negative_binomial", "negative_binomial"],
        upper_limit=[1e5, 1e6],
        confidence=[0.8, 0.95],
    )
    assert first.confidence == 0.8
    assert first.upper_limit == 1e5
    assert first.sample_mean == pytest.approx(3 / ((1 + 2) * 0.5))
    assert second.sample_mean == pytest.approx(7 / (4 * RECOVERY.mean))
    assert first.quantile(0.1) == pytest.approx(first.low)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 300), min_size=2, max_size=20).filter(any))
def test_profile_interval_holds_the_mean_and_the_t_cut_is_wider(
    seen: list[int],
) -> None:
    by_t, by_chi = profile_interval(seen), profile_interval(seen, cut="chi_square")
    mean = float(np.mean(seen))
    assert by_chi.low <= mean * (1 + 1e-6)
    assert by_chi.high >= mean * (1 - 1e-6)
    assert by_t.low <= by_chi.low * (1 + 1e-6)
    assert by_t.high >= by_chi.high * (1 - 1e-6)
