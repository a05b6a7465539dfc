"""A farm with a station."""

import pytest

from tests.builders import World
from tests.monitoring.weather.stations import Station


@pytest.fixture
def station(world: World) -> Station:
    return Station(world)
