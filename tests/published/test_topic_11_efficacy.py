"""A treatment's efficacy by the four classic formulas.

Abbott 1925, J. Econ. Entomol. 18:265-267; Schneider-Orelli 1947; Henderson & Tilton
1955, J. Econ. Entomol. 48:157-161; Sun & Shepard 1947, J. Econ. Entomol. 40:710-715:
formulas and places from memory, no published worked example known. The values were
computed in Python and by hand from the formulas, apart from the code tested here.
"""

import pytest

from monitoring.estimation import (
    abbott,
    henderson_tilton,
    schneider_orelli,
    sun_shepard,
)

TRIAL = {
    "treated_before": 120,
    "treated_after": 18,
    "control_before": 110,
    "control_after": 140,
}


def test_t11_01_henderson_and_tilton_and_sun_and_shepard() -> None:
    assert henderson_tilton(**TRIAL) == pytest.approx(88.21428571428571, abs=1e-3)
    assert sun_shepard(**TRIAL) == pytest.approx(88.21428571428571, abs=1e-3)


def test_t11_01_abbott() -> None:
    found = abbott(treated_after=18, control_after=140)
    assert found == pytest.approx(87.14285714285714, abs=1e-3)


def test_t11_01_schneider_orelli() -> None:
    found = schneider_orelli(treated_mortality_percent=85, control_mortality_percent=12)
    assert found == pytest.approx(82.95454545454545, abs=1e-3)


@pytest.mark.parametrize(
    ("densities", "percent"),
    [
        ((100, 100, 100, 200), 50.0),
        ((100, 0, 100, 50), 100.0),
        ((100, 60, 100, 40), -50.0),
    ],
)
def test_t11_03_edges(densities: tuple[float, ...], percent: float) -> None:
    given = dict(zip(TRIAL, densities, strict=True))
    assert henderson_tilton(**given) == pytest.approx(percent, abs=1e-9)
    assert sun_shepard(**given) == pytest.approx(percent, abs=1e-9)
