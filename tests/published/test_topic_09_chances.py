"""The chance that the mean is above a threshold.

Computed with R 4.2.2 and with numpy, by direct summation of the posterior.
"""

import pytest

from monitoring.estimation import PROBABILITIES, StoredPosterior, estimate_density

COUNTS = [0, 3, 12, 1, 0, 40, 7, 2, 0, 5]
CHANCES: dict[float, float] = {5: 0.88399497737, 10: 0.42605308749, 20: 0.10781318636}


@pytest.mark.parametrize("threshold", CHANCES)
def test_t09_01_chance_above_a_threshold(threshold: float) -> None:
    found = estimate_density(COUNTS, recovery=0.85)
    assert found.chance_above(threshold) == pytest.approx(CHANCES[threshold], abs=0.005)


@pytest.mark.parametrize("threshold", CHANCES)
def test_t09_01_chance_from_what_is_stored(threshold: float) -> None:
    found = estimate_density(COUNTS, recovery=0.85)
    stored = StoredPosterior(tuple(found.quantiles_at(PROBABILITIES)))
    chance = stored.chance_above(threshold)
    assert chance == pytest.approx(CHANCES[threshold], abs=0.005)
    assert chance == pytest.approx(found.chance_above(threshold), abs=0.003)
