"""Distances, directions and departures as the page tells them, against others' sums."""

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page
from pyproj import Geod

from monitoring.models import WashProtocol
from monitoring.washing.departures import departures_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
CALL = """async ([module, name, cases]) => {
  const room = await import(`/static/monitoring/bench/${module}.js`);
  return cases.map((given) => room[name](...given));
}"""
PROTOCOL = (
    *("alcohol_low_percent", "alcohol_high_percent", "volume_low_ml"),
    *("volume_high_ml", "shake_low_s", "shake_high_s", "piece_low_cm"),
    *("piece_high_cm", "rinses"),
)


@pytest.fixture
def in_browser(open_page: Callable[..., Page]) -> Callable[..., list[Any]]:
    """Call a function of one of the page's modules for many cases."""
    page = open_page()
    page.goto("/accounts/login/")
    return lambda module, name, cases: page.evaluate(CALL, [module, name, cases])


def test_distance_and_direction_are_those_on_the_ellipsoid(
    in_browser: Callable[..., list[Any]],
) -> None:
    """Source: the geodesic of WGS 84 by PROJ (Karney 2013, J. Geodesy 87, 43-55)."""
    chance = np.random.default_rng(7)
    here = np.column_stack(
        [chance.uniform(-180, 180, 400), chance.uniform(-60, 60, 400)]
    )
    # From a few metres to a few kilometres away, in every direction.
    step = 10 ** chance.uniform(-4.5, -1.5, (400, 1)) * chance.normal(size=(400, 2))
    there = here + step
    azimuth, _, metres = Geod(ellps="WGS84").inv(*here.T, *there.T)
    cases = np.stack([here, there], axis=1).tolist()
    found = np.array(in_browser("ground", "distanceM", cases))
    assert np.max(np.abs(found / metres - 1)) < 0.006
    turned = np.array(in_browser("ground", "bearing", cases)) - azimuth
    assert np.max(np.abs((turned + 180) % 360 - 180)) < 0.4


@pytest.mark.parametrize(
    ("degrees", "wind"),
    [(0, "north"), (359, "north"), (44, "north-east"), (181, "south"), (292, "west")],
)
def test_directions_are_told_as_winds(
    in_browser: Callable[..., list[Any]], degrees: float, wind: str
) -> None:
    assert in_browser("ground", "wind", [[degrees]]) == [wind]


def test_departures_are_told_in_the_words_of_the_site(
    in_browser: Callable[..., list[Any]],
) -> None:
    chance = np.random.default_rng(11)
    stated = WashProtocol(alcohol_high_percent=40, shake_high_s=45, rinses=2)
    cases, words = [], []
    for protocol in [WashProtocol(), stated] * 100:
        washed = {
            "alcohol_percent": float(chance.choice([30, 35, 37.5, 40, 70])),
            "volume_ml": float(chance.choice([40, 45, 47.25, 50, 60])),
            "shake_s": float(chance.choice([20, 30, 45, 60])),
            "piece_cm": [None, 1.5, 2.5, 3.1][chance.integers(4)],
            "rinses": [None, 0, 2][chance.integers(3)],
        }
        asked = {name: getattr(protocol, name) for name in PROTOCOL}
        cases.append([asked, washed])
        found = departures_of(SimpleNamespace(**washed), protocol)
        words.append([one.words for one in found])
    assert in_browser("wash_values", "departures", cases) == words
