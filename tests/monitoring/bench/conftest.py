"""A bench of the lab, and a bag that waits to be counted."""

import pytest

from monitoring.models import Bag
from tests.builders import World
from tests.monitoring.bench.benches import Bench, some_bags


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


@pytest.fixture
def bag(world: World) -> Bag:
    return some_bags(world)[0]
