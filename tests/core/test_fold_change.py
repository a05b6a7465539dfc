"""The ratio of two densities: against the lognormal's own, and by its laws."""

from math import exp, sqrt

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri

from monitoring.estimation import (
    PROBABILITIES,
    EstimationError,
    StoredPosterior,
    fold_change,
)


def _lognormal(median: float, sd: float) -> StoredPosterior:
    return StoredPosterior(tuple(median * np.exp(sd * ndtri(PROBABILITIES))))


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.95])
def test_lognormals_divide_as_theory_says(confidence: float) -> None:
    """ln of the ratio of two lognormals is normal with the variances added."""
    found = fold_change(_lognormal(90, 0.3), _lognormal(30, 0.4), confidence=confidence)
    reach = stats.norm.isf((1 - confidence) / 2) * sqrt(0.3**2 + 0.4**2)
    assert found.median == pytest.approx(3, rel=0.005)
    assert found.low == pytest.approx(3 * exp(-reach), rel=0.01)
    assert found.high == pytest.approx(3 * exp(reach), rel=0.01)


def test_turned_round_it_is_the_inverse() -> None:
    one, other = _lognormal(90, 0.3), _lognormal(30, 0.4)
    there, back = fold_change(one, other), fold_change(other, one)
    assert there.median * back.median == pytest.approx(1, rel=1e-6)
    assert there.low * back.high == pytest.approx(1, rel=1e-6)


def test_a_confidence_is_a_proportion() -> None:
    with pytest.raises(EstimationError):
        fold_change(_lognormal(1, 1), _lognormal(1, 1), confidence=1.5)
