"""The stratified mean by canopy position.

Source: Cochran 1977, Sampling Techniques, ch. 5 (from memory); computed with R 4.2.2,
survey::svymean identical.
"""

import pytest

from monitoring.estimation import stratified_mean

LOW = [2, 0, 5, 1, 0, 3]
MIDDLE = [8, 12, 0, 4, 7, 9]
UPPER = [20, 35, 3, 14, 0, 51, 8, 11]


def test_t05_01_mean_error_degrees_of_freedom_and_interval() -> None:
    found = stratified_mean([LOW, MIDDLE, UPPER], [0.4, 0.35, 0.25])
    assert found.mean == pytest.approx(7.5041666667, rel=1e-4)
    assert found.standard_error == pytest.approx(1.6720595785, rel=1e-4)
    assert found.degrees_of_freedom == pytest.approx(9.6638368938, rel=1e-4)
    assert found.low == pytest.approx(3.7609441517, rel=1e-4)
    assert found.high == pytest.approx(11.2473891817, rel=1e-4)
