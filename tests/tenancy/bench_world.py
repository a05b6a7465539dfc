"""A reading at the bench for worlds that need one of everything."""

from typing import Any
from uuid import uuid4

from monitoring.models import BenchReading
from tests.builders import World
from tests.monitoring.bench.benches import Bench, some_bags


def give_reading(world: World) -> dict[str, Any]:
    """Count a bag at the bench, and leave a reading that waits for a person."""
    bench = Bench(world)
    bag = some_bags(world)[0]
    bench.count(bag, 5)
    again = bench.count(bag, 7)
    bench.count(str(uuid4()), 3)
    bench.start(bag, recount=True)
    bench.send()
    found = BenchReading.objects.get(uuid=again, farm_group=world.group)
    assert found.state == BenchReading.State.WAITING
    return {"bench_reading": found}
