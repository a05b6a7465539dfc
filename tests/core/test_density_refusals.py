"""What `estimate_density` and its like refuse, and by which name."""

import math

import numpy as np
import pytest

from monitoring.estimation import (
    PROBABILITIES,
    EstimationError,
    LogNormalK,
    LogUniformK,
    StoredPosterior,
    estimate_densities,
    estimate_density,
)


@pytest.mark.parametrize(
    ("argument", "values"),
    [
        ("counts", {"counts": []}),
        ("counts", {"counts": [1, math.nan]}),
        ("counts", {"counts": [1, math.inf]}),
        ("counts", {"counts": [1, -2]}),
        ("counts", {"counts": [1, 2.5]}),
        ("counts", {"counts": [[1, 2], [3, 4]]}),
        ("counts", {"counts": ["a", "b"]}),
        ("counts", {"counts": [1, None]}),
        ("counts", {"counts": 7}),
        ("proportions_counted", {"proportions_counted": 0}),
        ("proportions_counted", {"proportions_counted": 1.01}),
        ("proportions_counted", {"proportions_counted": math.nan}),
        ("proportions_counted", {"proportions_counted": [0.5, 0.5]}),
        ("proportions_counted", {"proportions_counted": []}),
        ("units", {"units": 0}),
        ("units", {"units": 1.5}),
        ("units", {"units": [1, 2]}),
        ("recovery", {"recovery": 0}),
        ("recovery", {"recovery": 1.2}),
        ("recovery", {"recovery": math.nan}),
        ("k_prior", {"k_prior": 0.5}),
        ("model", {"model": "poisson"}),
        ("upper_limit", {"upper_limit": 0}),
        ("upper_limit", {"upper_limit": math.inf}),
        ("confidence", {"confidence": 1}),
        ("confidence", {"confidence": 0}),
    ],
)
def test_a_wrong_argument_is_named(argument: str, values: dict[str, object]) -> None:
    with pytest.raises(EstimationError) as refused:
        estimate_density(**({"counts": [1, 2, 3]} | values))  # type: ignore[arg-type] # on purpose
    assert refused.value.argument == argument
    assert isinstance(refused.value, ValueError)
    assert str(refused.value).startswith(f"{argument}: ")


@pytest.mark.parametrize(
    "argument",
    [
        "proportions_counted",
        "units",
        "recovery",
        "k_prior",
        "model",
        "upper_limit",
        "confidence",
    ],
)
def test_a_list_must_have_one_entry_a_round(argument: str) -> None:
    with pytest.raises(EstimationError) as refused:
        estimate_densities([[1, 2], [3]], **{argument: [1.0]})  # type: ignore[arg-type] # on purpose
    assert refused.value.argument == argument


def test_a_wrong_count_in_any_round_is_found() -> None:
    with pytest.raises(EstimationError, match="counts"):
        estimate_densities([[1, 2], [3, 0.5]])


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("low", lambda: LogUniformK(0, 5)),
        ("high", lambda: LogUniformK(1, math.inf)),
        ("high", lambda: LogUniformK(5, 0.02)),
        ("median", lambda: LogNormalK(-1, 0.3)),
        ("sd_log", lambda: LogNormalK(1, 0)),
        ("quantiles", lambda: StoredPosterior((1.0, 2.0))),
        ("quantiles", lambda: StoredPosterior((0.0,) * PROBABILITIES.size)),
        (
            "quantiles",
            lambda: StoredPosterior(tuple(np.linspace(2, 1, PROBABILITIES.size))),
        ),
        (
            "quantiles",
            lambda: StoredPosterior((math.nan,) * PROBABILITIES.size),
        ),
        ("probability", lambda: estimate_density([1, 2]).quantile(1)),
        ("probability", lambda: estimate_density([1, 2]).quantile(0)),
    ],
)
def test_priors_and_posteriors_that_cannot_be_are_refused(
    argument: str, call: object
) -> None:
    with pytest.raises(EstimationError) as refused:
        call()  # type: ignore[operator] # each is a call without arguments
    assert refused.value.argument == argument
