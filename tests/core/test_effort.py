"""Leaves for a precision, stop lines and regressions: laws, limits and refusals."""

from math import inf, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from monitoring.estimation import (
    EstimationError,
    fit_patchiness,
    fit_power_law,
    mean_from_empty,
    proportion_empty,
    share_at_least,
    stop_line_patchiness,
    stop_line_power_law,
    units_for_precision,
)

means = st.floats(0.01, 1e4)
ks = st.floats(0.05, 50)
precisions = st.floats(0.02, 0.9)


@given(means, ks, precisions)
def test_leaves_have_the_precision_they_were_asked_for(
    mean: float, k: float, precision: float
) -> None:
    units = units_for_precision(mean, k=k, precision=precision)
    assert sqrt((mean + mean**2 / k) / units) / mean == pytest.approx(precision)
    finer = units_for_precision(mean, k=k, precision=precision / 2)
    assert finer == pytest.approx(4 * units)
    # Denser counts take fewer leaves, down to what clumping asks for.
    denser = units_for_precision(10 * mean, k=k, precision=precision)
    assert 1 / (k * precision**2) <= denser <= units


@given(means, ks, precisions)
def test_the_power_law_of_one_mean_is_a_k(
    mean: float, k: float, precision: float
) -> None:
    variance = mean + mean**2 / k
    by_law = units_for_precision(
        mean, power_law=(variance / mean**1.4, 1.4), precision=precision
    )
    assert by_law == pytest.approx(units_for_precision(mean, k=k, precision=precision))


def test_without_clumping_only_the_animals_count() -> None:
    assert units_for_precision(4, precision=0.1) == pytest.approx(25)
    assert units_for_precision(4, k=inf, precision=0.1) == pytest.approx(25)


@given(st.floats(0.2, 20), st.floats(1.0, 1.9), precisions, st.integers(1, 500))
def test_the_power_laws_line_meets_its_definition(
    a: float, b: float, precision: float, units: int
) -> None:
    (total,) = stop_line_power_law(a, b, precision=precision, units=[units])
    assume(0 < total < 1e200)
    mean = total / units
    assert sqrt(a * mean ** (b - 2) / units) == pytest.approx(precision, rel=1e-6)


@given(ks, precisions)
def test_the_negative_binomials_line_is_patchiness_with_its_k(
    k: float, precision: float
) -> None:
    units = np.arange(1.0, 3000, 7)
    line = stop_line_patchiness(0, 1 + 1 / k, precision=precision, units=units)
    reached = np.isfinite(line)
    assert (units[~reached] <= 1 / (k * precision**2) * (1 + 1e-9)).all()
    for at, total in list(zip(units[reached], line[reached], strict=True))[:20]:
        wanted = units_for_precision(total / at, k=k, precision=precision)
        assert wanted == pytest.approx(at, rel=1e-6)


@given(
    st.floats(0.1, 10),
    st.floats(0.8, 2.2),
    st.lists(st.floats(0.5, 500), min_size=3, max_size=12),
)
def test_exact_laws_are_found_again(a: float, b: float, at: list[float]) -> None:
    assume(max(at) / min(at) > 1.5)
    law = fit_power_law(at, [a * m**b for m in at])
    assert law.a == pytest.approx(a, rel=1e-6)
    assert law.b == pytest.approx(b, rel=1e-6)
    assert law.variance(at[0]) == pytest.approx(a * at[0] ** b, rel=1e-6)
    line = fit_patchiness(at, [(a + 1) * m + (b - 0.5) * m**2 for m in at])
    assert line.alpha == pytest.approx(a, rel=1e-4, abs=1e-6)
    assert line.beta == pytest.approx(b + 0.5, rel=1e-6)
    assert line.variance(at[0]) == pytest.approx(
        (a + 1) * at[0] + (b - 0.5) * at[0] ** 2, rel=1e-4
    )


def test_samples_without_a_logarithm_are_left_out_and_told() -> None:
    law = fit_power_law([0, 1, 2, 4, 8], [0, 1, 0, 16, 64])
    assert law.samples == 3
    assert law.b == pytest.approx(2)
    assert fit_patchiness([0, 1, 2, 4, 8], [0, 1, 0, 16, 64]).samples == 4


def test_the_power_laws_k_is_infinite_where_nothing_is_clumped() -> None:
    law = fit_power_law([1, 10, 100], [1, 10, 100])
    assert law.k(10) == inf or law.k(10) > 1e9
    assert fit_power_law([1, 2, 4], [2, 8, 32]).k(3) == pytest.approx(9 / (18 - 3))


@given(st.floats(0, 50), ks)
def test_shares_of_leaves_go_down_as_more_animals_are_asked_for(
    mean: float, k: float
) -> None:
    assert share_at_least(mean, k) == pytest.approx(
        1 - proportion_empty(mean, k), abs=1e-12
    )
    shares = [share_at_least(mean, k, animals=animals) for animals in range(1, 20)]
    assert shares == sorted(shares, reverse=True)


@given(st.floats(0.05, 20), ks)
def test_the_mean_comes_back_from_its_share_of_empty_leaves(
    mean: float, k: float
) -> None:
    units = 10_000_000
    empty = round(units * proportion_empty(mean, k))
    assume(1000 < empty < units - 1000)
    found = mean_from_empty(empty=empty, units=units, k=k)
    assert found.mean == pytest.approx(mean, abs=6 * found.standard_error)


def test_all_leaves_empty_has_no_error_to_show() -> None:
    found = mean_from_empty(empty=30, units=30, k=0.5)
    assert (found.mean, found.standard_error) == (0, inf)
    assert mean_from_empty(empty=11, units=30, k=inf).mean == pytest.approx(
        1.003302, rel=1e-6
    )
    assert share_at_least(0.0, 2.0) == 0
    assert share_at_least(3.0, inf) == pytest.approx(1 - np.exp(-3))


@pytest.mark.parametrize(
    ("call", "arguments", "argument"),
    [
        (units_for_precision, {"mean": 0, "precision": 0.2}, "mean"),
        (units_for_precision, {"mean": 5, "precision": 0}, "precision"),
        (units_for_precision, {"mean": 5, "precision": 0.2, "k": -1}, "k"),
        (
            units_for_precision,
            {"mean": 5, "precision": 0.2, "k": 1, "power_law": (1, 1)},
            "k",
        ),
        (
            units_for_precision,
            {"mean": 5, "precision": 0.2, "power_law": (0, 1)},
            "power_law",
        ),
        (
            units_for_precision,
            {"mean": 5, "precision": 0.2, "confidence": 95},
            "confidence",
        ),
        (
            stop_line_power_law,
            {"a": 2, "b": 2, "precision": 0.2, "units": [5]},
            "b",
        ),
        (
            stop_line_power_law,
            {"a": -2, "b": 1, "precision": 0.2, "units": [5]},
            "a",
        ),
        (
            stop_line_power_law,
            {"a": 2, "b": 1, "precision": 0.2, "units": [0]},
            "units",
        ),
        (
            stop_line_patchiness,
            {"alpha": -1, "beta": 1, "precision": 0.2, "units": [5]},
            "alpha",
        ),
        (
            stop_line_patchiness,
            {"alpha": 0, "beta": inf, "precision": 0.2, "units": [5]},
            "beta",
        ),
        (fit_power_law, {"means": [1, 2], "variances": [1, 2]}, "means"),
        (fit_power_law, {"means": [2, 2, 2], "variances": [1, 2, 3]}, "means"),
        (fit_power_law, {"means": [1, 2, 3], "variances": [1, 2]}, "variances"),
        (fit_patchiness, {"means": [1, -2, 3], "variances": [1, 2, 3]}, "means"),
        (fit_patchiness, {"means": [1, 2, 3], "variances": [1, -2, 3]}, "variances"),
        (proportion_empty, {"mean": -1, "k": 1}, "mean"),
        (proportion_empty, {"mean": 1, "k": 0}, "k"),
        (share_at_least, {"mean": 1, "k": 1, "animals": 0}, "animals"),
        (mean_from_empty, {"empty": 0, "units": 20, "k": 1}, "empty"),
        (mean_from_empty, {"empty": 21, "units": 20, "k": 1}, "empty"),
        (mean_from_empty, {"empty": 1, "units": 0, "k": 1}, "units"),
    ],
)
def test_what_makes_no_sense_names_its_argument(
    call: Any, arguments: dict[str, Any], argument: str
) -> None:
    with pytest.raises(EstimationError) as caught:
        call(**arguments)
    assert caught.value.argument == argument
