"""Every call of the core refuses what cannot be, by the argument's name."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import monitoring.estimation as core
from monitoring.estimation import BetaRecovery, EstimationError

FEW, MANY = [0, 3, 12, 1, 0, 40, 7, 2, 0, 5], [9, 30, 4, 21, 12, 3, 8, 40, 17, 6]
REFUSED: dict[str, tuple[Callable[[], Any], str]] = {
    "DishGrid": (
        lambda: core.DishGrid(inner_diameter_mm=-1, pitch_mm=10),
        "inner_diameter_mm",
    ),
    "DishGrid's pitch": (
        lambda: core.DishGrid(inner_diameter_mm=150, pitch_mm=0),
        "pitch_mm",
    ),
    "expand_cells": (
        lambda: core.expand_cells([1], [100.0], dish_area_mm2=-1, cells_in_dish=208),
        "dish_area_mm2",
    ),
    "cells_to_count": (
        lambda: core.cells_to_count(
            mean_per_cell=10, cell_k=2, cv=0, cells_in_dish=208
        ),
        "cv",
    ),
    "BetaRecovery": (lambda: BetaRecovery(-1, 2), "a"),
    "recovery_from_range": (lambda: core.recovery_from_range(0.9, 0.8), "high"),
    "recovery_from_spikes": (
        lambda: core.recovery_from_spikes(51, 50),
        "recovered",
    ),
    "recovery_from_washes": (lambda: core.recovery_from_washes([40, 52]), "catches"),
    "LogUniformK": (lambda: core.LogUniformK(2, 1), "high"),
    "LogNormalK": (lambda: core.LogNormalK(1, 0), "sd_log"),
    "estimate_density": (lambda: core.estimate_density([1, np.nan]), "counts"),
    "its share counted": (
        lambda: core.estimate_density(FEW, proportions_counted=1.2),
        "proportions_counted",
    ),
    "estimate_densities": (lambda: core.estimate_densities([[1.5]]), "counts"),
    "profile_interval": (lambda: core.profile_interval([-1, 2]), "counts"),
    "zero_count_upper_limit": (
        lambda: core.zero_count_upper_limit(bags=0, k=0.3),
        "bags",
    ),
    "combine_strata": (
        lambda: core.combine_strata(core.estimate_densities([FEW, MANY]), [0.4, 0.5]),
        "weights",
    ),
    "stratified_mean": (lambda: core.stratified_mean([FEW], [0.4]), "weights"),
    "estimate_ratio": (
        lambda: core.estimate_ratio(
            core.estimate_density(FEW), core.estimate_density(MANY), rank_correlation=2
        ),
        "rank_correlation",
    ),
    "fieller_interval": (
        lambda: core.fieller_interval([1, 2, 3], [1, 2]),
        "denominator",
    ),
    "fit_negative_binomial": (lambda: core.fit_negative_binomial([]), "counts"),
    "k_by_moments": (lambda: core.k_by_moments([1, -2]), "counts"),
    "k_from_zeros": (lambda: core.k_from_zeros([0.5]), "counts"),
    "common_k": (lambda: core.common_k([]), "samples"),
    "dispersion_indices": (lambda: core.dispersion_indices([0, 0]), "counts"),
    "fit_power_law": (lambda: core.fit_power_law([1, 2], [1]), "variances"),
    "fit_patchiness": (lambda: core.fit_patchiness([1, 2], [1]), "variances"),
    "units_for_precision": (
        lambda: core.units_for_precision(5, precision=0, k=1),
        "precision",
    ),
    "stop_line_power_law": (
        lambda: core.stop_line_power_law(2.5, 1.5, precision=-1, units=[5]),
        "precision",
    ),
    "stop_line_patchiness": (
        lambda: core.stop_line_patchiness(0.8, 1.7, precision=-1, units=[5]),
        "precision",
    ),
    "sequential_test": (
        lambda: core.sequential_test(
            lower_mean=20, upper_mean=10, k=1, alpha=0.1, beta=0.1
        ),
        "upper_mean",
    ),
    "proportion_empty": (lambda: core.proportion_empty(5, 0), "k"),
    "mean_from_empty": (
        lambda: core.mean_from_empty(empty=60, units=50, k=1),
        "empty",
    ),
    "mite_days": (lambda: core.mite_days([7, 0], [1.0, 2.0]), "days"),
    "degree_days": (
        lambda: core.degree_days([20], [10], lower_c=10),
        "minimum_c",
    ),
    "fit_growth": (lambda: core.fit_growth([0, 7], [1]), "counts"),
    "abbott": (
        lambda: core.abbott(treated_after=10, control_after=0),
        "control_after",
    ),
    "schneider_orelli": (
        lambda: core.schneider_orelli(
            treated_mortality_percent=85, control_mortality_percent=100
        ),
        "control_mortality_percent",
    ),
    "henderson_tilton": (
        lambda: core.henderson_tilton(
            treated_before=0, treated_after=10, control_before=90, control_after=110
        ),
        "treated_before",
    ),
    "sun_shepard": (
        lambda: core.sun_shepard(
            treated_before=0, treated_after=10, control_before=90, control_after=110
        ),
        "treated_before",
    ),
    "concordance": (lambda: core.concordance([1, 2, 3], [1, 2]), "y"),
    "limits_of_agreement": (lambda: core.limits_of_agreement([1, 2], [1]), "y"),
    "intraclass_correlation": (lambda: core.intraclass_correlation([[1, 2]]), "table"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_refusals_name_the_argument(name: str) -> None:
    ask, argument = REFUSED[name]
    with pytest.raises(EstimationError) as refused:
        ask()
    assert refused.value.argument == argument
    assert argument in str(refused.value)
    assert isinstance(refused.value, ValueError)
