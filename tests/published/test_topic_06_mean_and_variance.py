"""Indices of dispersion, the power law and the patchiness regression.

Apple leaves: Bliss & Fisher 1953, Biometrics 9:176-200, frequencies as stored in the R
packages DDPM and VGAM; indices of Lloyd 1967, Morisita 1959 and Green 1966 (from
memory), computed with numpy. Insect sprays: means and variances by spray of the
`InsectSprays` data in R's datasets package (Beall 1942), read; lines computed with R
4.2.2 `lm`, unweighted.
"""

import pytest
from scipy import stats

from monitoring.estimation import dispersion_indices, fit_patchiness, fit_power_law

APPLE_LEAVES = {0: 70, 1: 38, 2: 17, 3: 10, 4: 9, 5: 3, 6: 2, 7: 1}
SPRAY_MEANS = [14.5, 15.3333333333, 2.0833333333, 4.9166666667, 3.5, 16.6666666667]
SPRAY_VARIANCES = [
    22.2727272727,
    18.2424242424,
    3.9015151515,
    6.2651515152,
    3,
    38.6060606061,
]


def test_t06_01_dispersion_indices_of_apple_leaves() -> None:
    leaves = [count for count, times in APPLE_LEAVES.items() for _ in range(times)]
    found = dispersion_indices(leaves)
    assert found.variance_to_mean == pytest.approx(1.9828312782893711, rel=1e-5)
    assert found.mean_crowding == pytest.approx(2.1294979449560376, rel=1e-5)
    assert found.patchiness == pytest.approx(1.8571203008337536, rel=1e-5)
    assert found.morisita == pytest.approx(1.8563851489188086, rel=1e-5)
    assert found.green == pytest.approx(0.005747551335025562, rel=1e-5)
    # Chi-square of the index of dispersion, (n - 1) variance / mean.
    assert 149 * found.variance_to_mean == pytest.approx(295.4418604651163, rel=1e-5)


def test_t06_02_power_law_of_insect_sprays() -> None:
    law = fit_power_law(SPRAY_MEANS, SPRAY_VARIANCES)
    assert law.a == pytest.approx(1.1785439079, rel=1e-4)
    assert law.b == pytest.approx(1.0994216626, rel=1e-4)
    assert law.b_standard_error == pytest.approx(0.19118463797, rel=1e-4)


def test_t06_02_patchiness_of_insect_sprays() -> None:
    line = fit_patchiness(SPRAY_MEANS, SPRAY_VARIANCES)
    assert line.alpha == pytest.approx(0.23654463941, rel=1e-4)
    assert line.beta == pytest.approx(1.0285439914, rel=1e-4)


def test_errors_of_the_patchiness_line_agree_with_scipy() -> None:
    """scipy.stats.linregress on mean crowding, an independent program."""
    crowding = [
        m + s2 / m - 1 for m, s2 in zip(SPRAY_MEANS, SPRAY_VARIANCES, strict=True)
    ]
    theirs = stats.linregress(SPRAY_MEANS, crowding)
    line = fit_patchiness(SPRAY_MEANS, SPRAY_VARIANCES)
    assert line.beta_standard_error == pytest.approx(theirs.stderr)
    assert line.alpha_standard_error == pytest.approx(theirs.intercept_stderr)
