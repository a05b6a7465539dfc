"""The names that outside scripts rely on: arguments, what results hold."""

import inspect
import re
from collections.abc import Callable
from dataclasses import FrozenInstanceError, fields, is_dataclass
from typing import Any

import numpy as np
import pytest

import monitoring.estimation as core
from alerts.rules import standing
from monitoring.estimation import BetaRecovery

CALLS = """
DishGrid(*, inner_diameter_mm, pitch_mm, offset_mm=(0.0, 0.0))
expand_cells(counts, cell_areas_mm2, *, dish_area_mm2, cells_in_dish, confidence=0.95)
cells_to_count(*, mean_per_cell, cell_k, cv, cells_in_dish)
BetaRecovery(a, b)
recovery_from_range(low, high, *, confidence=0.95)
recovery_from_spikes(recovered, added)
recovery_from_washes(catches, *, method='carle_strub')
LogUniformK(low, high)
LogNormalK(median, sd_log)
estimate_density(counts, *, proportions_counted=1.0, units=1, recovery=1.0, \
k_prior=LogUniformK(low=0.02, high=5.0), model='negative_binomial', \
upper_limit=1000000.0, confidence=0.95)
estimate_densities(rounds, *, proportions_counted=1.0, units=1, recovery=1.0, \
k_prior=LogUniformK(low=0.02, high=5.0), model='negative_binomial', \
upper_limit=1000000.0, confidence=0.95)
profile_interval(counts, *, proportions_counted=1.0, recovery=1.0, cut='t')
zero_count_upper_limit(*, bags, k, recovery=1.0, proportion_counted=1.0, \
confidence=0.95)
combine_strata(densities, weights)
stratified_mean(strata, weights, *, confidence=0.95)
estimate_ratio(numerator, denominator, *, rank_correlation=0.0, \
shared_recovery=False, confidence=0.95)
fieller_interval(numerator, denominator, *, paired=True, confidence=0.95)
fit_negative_binomial(counts)
k_by_moments(counts)
k_from_zeros(counts)
common_k(samples)
dispersion_indices(counts)
fit_power_law(means, variances)
fit_patchiness(means, variances)
units_for_precision(mean, *, precision, k=None, power_law=None, confidence=None)
stop_line_power_law(a, b, *, precision, units)
stop_line_patchiness(alpha, beta, *, precision, units)
sequential_test(*, lower_mean, upper_mean, k, alpha, beta)
proportion_empty(mean, k)
mean_from_empty(*, empty, units, k)
mite_days(days, densities)
degree_days(minimum_c, maximum_c, *, lower_c, upper_c=None, method='single_sine', \
cutoff='horizontal')
fit_growth(days, counts, *, exposures=1.0)
abbott(*, treated_after, control_after)
schneider_orelli(*, treated_mortality_percent, control_mortality_percent)
henderson_tilton(*, treated_before, treated_after, control_before, control_after)
sun_shepard(*, treated_before, treated_after, control_before, control_after)
concordance(x, y)
limits_of_agreement(x, y)
intraclass_correlation(table)
"""
LINES = CALLS.split("\n")[1:-1]
FEW, MANY = [0, 3, 12, 1, 0, 40, 7, 2, 0, 5], [9, 30, 4, 21, 12, 3, 8, 40, 17, 6]
MEANS, VARIANCES = [1.0, 4.0, 16.0], [2.0, 11.0, 70.0]
DAYS, GROWN = [0, 0, 7, 7, 14, 14], [1, 2, 4, 7, 15, 9]


def _test() -> core.SequentialTest:
    return core.sequential_test(
        lower_mean=10, upper_mean=20, k=0.6, alpha=0.1, beta=0.1
    )


def _cells() -> core.DishTotal:
    return core.expand_cells(
        [4, 9, 2], [100.0, 100.0, 50.0], dish_area_mm2=17671.0, cells_in_dish=208
    )


def _ratio() -> core.RatioEstimate:
    return core.estimate_ratio(core.estimate_density(FEW), core.estimate_density(MANY))


DENSITY = "median low high sample_mean bags k_median chance_above() quantile()"
RESULTS: dict[str, tuple[Callable[[], Any], str]] = {
    "DishGrid": (
        lambda: core.DishGrid(inner_diameter_mm=150, pitch_mm=10),
        "cell_names cell_areas_mm2 area_mm2 whole_cells",
    ),
    "expand_cells": (_cells, "total standard_error low high proportion_counted"),
    "BetaRecovery": (lambda: BetaRecovery(162.15, 27.83), "a b mean interval()"),
    "recovery_from_range": (
        lambda: core.recovery_from_range(0.8, 0.9),
        "a b mean interval()",
    ),
    "recovery_from_spikes": (
        lambda: core.recovery_from_spikes(43, 50),
        "a b mean interval()",
    ),
    "recovery_from_washes": (
        lambda: core.recovery_from_washes([38, 26, 12]),
        "initial initial_standard_error recovery recovery_standard_error"
        " first_wash_proportion",
    ),
    "estimate_density": (lambda: core.estimate_density(FEW), DENSITY),
    "estimate_densities": (lambda: core.estimate_densities([FEW])[0], DENSITY),
    "averaged": (lambda: core.estimate_density(FEW, model="averaged"), DENSITY),
    "combine_strata": (
        lambda: core.combine_strata(core.estimate_densities([FEW, MANY]), [0.4, 0.6]),
        "median low high sample_mean bags chance_above() quantile()",
    ),
    "profile_interval": (lambda: core.profile_interval(FEW), "low high k"),
    "stratified_mean": (
        lambda: core.stratified_mean([FEW, MANY], [0.4, 0.6]),
        "mean standard_error degrees_of_freedom low high",
    ),
    "estimate_ratio": (_ratio, "ratio low high reason chance_below()"),
    "fieller_interval": (
        lambda: core.fieller_interval(FEW, MANY),
        "ratio low high g bounded",
    ),
    "fit_negative_binomial": (
        lambda: core.fit_negative_binomial(FEW),
        "mean k k_standard_error log_likelihood expected() k_interval()",
    ),
    "common_k": (lambda: core.common_k([FEW, MANY]), "k means"),
    "dispersion_indices": (
        lambda: core.dispersion_indices(FEW),
        "variance_to_mean mean_crowding patchiness morisita green",
    ),
    "fit_power_law": (
        lambda: core.fit_power_law(MEANS, VARIANCES),
        "a b b_standard_error",
    ),
    "fit_patchiness": (lambda: core.fit_patchiness(MEANS, VARIANCES), "alpha beta"),
    "sequential_test": (
        _test,
        "slope lower_intercept upper_intercept acceptance_probability()"
        " average_sample_number() decide()",
    ),
    "mean_from_empty": (
        lambda: core.mean_from_empty(empty=18, units=50, k=0.6),
        "mean standard_error",
    ),
    "mite_days": (
        lambda: core.mite_days([0, 7], [2.0, 10.0]),
        "cumulative total low high",
    ),
    "fit_growth": (
        lambda: core.fit_growth(DAYS, GROWN),
        "intercept slope k doubling_days crossing() forecast()",
    ),
    "crossing": (
        lambda: core.fit_growth(DAYS, GROWN).crossing(100, 0.8),
        "day low high reason",
    ),
    "forecast": (
        lambda: core.fit_growth(DAYS, GROWN).forecast(21, 0.8),
        "median low high",
    ),
    "concordance": (lambda: core.concordance(FEW, MANY), "coefficient low high"),
    "limits_of_agreement": (
        lambda: core.limits_of_agreement(FEW, MANY),
        "bias sd low high",
    ),
    "intraclass_correlation": (
        lambda: core.intraclass_correlation([[9, 2, 5], [6, 1, 3], [8, 4, 6]]),
        "icc_1_1 icc_2_1 icc_3_1",
    ),
}
PLAIN: dict[str, Callable[[], float]] = {
    "cells_to_count": lambda: core.cells_to_count(
        mean_per_cell=10, cell_k=2, cv=0.15, cells_in_dish=208
    ),
    "zero_count_upper_limit": lambda: core.zero_count_upper_limit(bags=10, k=0.3),
    "k_by_moments": lambda: core.k_by_moments(FEW),
    "k_from_zeros": lambda: core.k_from_zeros(FEW),
    "units_for_precision": lambda: core.units_for_precision(5, precision=0.25, k=0.5),
    "proportion_empty": lambda: core.proportion_empty(5, 0.6),
    "abbott": lambda: core.abbott(treated_after=10, control_after=50),
    "schneider_orelli": lambda: core.schneider_orelli(
        treated_mortality_percent=85, control_mortality_percent=12
    ),
    "henderson_tilton": lambda: core.henderson_tilton(
        treated_before=100, treated_after=10, control_before=90, control_after=110
    ),
    "sun_shepard": lambda: core.sun_shepard(
        treated_before=100, treated_after=10, control_before=90, control_after=110
    ),
}
ARRAYS: dict[str, Callable[[], Any]] = {
    "stop_line_power_law": lambda: core.stop_line_power_law(
        2.5, 1.5, precision=0.25, units=[5, 10, 20]
    ),
    "stop_line_patchiness": lambda: core.stop_line_patchiness(
        0.8, 1.7, precision=0.25, units=[50, 60, 70]
    ),
    "degree_days": lambda: core.degree_days([4, 8, 12], [18, 35, 28], lower_c=10),
}


def _bare(call: Callable[..., Any], line: str) -> tuple[str, list[inspect.Parameter]]:
    """Write a call's arguments as the line does; and give those it does not name."""
    known: list[inspect.Parameter] = []
    further: list[inspect.Parameter] = []
    for one in inspect.signature(call).parameters.values():
        named = re.search(rf"[( ]{one.name}[=,)]", line)
        (known if named else further).append(one.replace(annotation=one.empty))
    return str(inspect.Signature(known)), further


@pytest.mark.parametrize("line", LINES)
def test_calls_take_these_arguments(line: str) -> None:
    """Further arguments may be added, by keyword and with a default."""
    name, _, arguments = line.partition("(")
    assert name in core.__all__
    known, further = _bare(getattr(core, name), line)
    assert known == f"({arguments}"
    for extra in further:
        assert extra.kind is inspect.Parameter.KEYWORD_ONLY
        assert extra.default is not inspect.Parameter.empty


@pytest.mark.parametrize("name", RESULTS)
def test_results_are_frozen_and_hold_these(name: str) -> None:
    make, wanted = RESULTS[name]
    found = make()
    assert is_dataclass(found)
    for field in wanted.split():
        value = getattr(found, field.removesuffix("()"))
        assert callable(value) == field.endswith("()"), field
    first = fields(found)[0].name
    with pytest.raises(FrozenInstanceError):
        setattr(found, first, 1)


@pytest.mark.parametrize("name", PLAIN)
def test_these_give_a_plain_number(name: str) -> None:
    assert isinstance(PLAIN[name](), float)


@pytest.mark.parametrize("name", ARRAYS)
def test_these_give_an_array_as_long_as_their_input(name: str) -> None:
    found = ARRAYS[name]()
    assert isinstance(found, np.ndarray)
    assert found.shape == (3,)


def test_every_call_is_tried() -> None:
    called = {line.partition("(")[0] for line in LINES}
    assert called <= {*RESULTS, *PLAIN, *ARRAYS, "LogUniformK", "LogNormalK"}


def test_methods_of_results_answer() -> None:
    found = core.estimate_density(FEW)
    assert 0 < found.chance_above(5) < 1
    assert found.quantile(0.5) == found.median
    assert 0 < _ratio().chance_below(1) <= 1
    low, high = BetaRecovery(162.15, 27.83).interval(0.95)
    assert 0 < low < high < 1
    fit = core.fit_negative_binomial(FEW)
    assert np.shape(fit.expected([0, 1, 2], 10)) == (3,)
    assert fit.k_interval(0.95)[0] < fit.k < fit.k_interval(0.95)[1]
    assert _test().decide([1] * 20) == "lower"


def test_a_ratio_without_prey_says_so() -> None:
    none = core.estimate_density([0, 0, 0])
    found = core.estimate_ratio(core.estimate_density(FEW), none)
    assert np.isnan(found.ratio)
    assert found.reason


def test_the_standing_rule_takes_these_arguments() -> None:
    line = (
        "(chances, *, raise_at, clear_below, raise_count=1, clear_count=2,"
        " clear_chances=None)"
    )
    assert _bare(standing, line) == (line, [])
