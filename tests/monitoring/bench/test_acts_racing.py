"""Two devices with the same bags, and a photograph by two lines, at the same moment."""

import pytest

from blocks.files import folder_of
from blocks.tenancy import stating
from monitoring.models import Bag, BagPhoto, BagStep, BenchAct, WashBatch
from tests.bench_devices import Device, line
from tests.builders import World
from tests.meeting import at_once
from tests.monitoring.bags.bench import Bench
from tests.monitoring.bench.test_acts import collect, wash
from tests.monitoring.bench.test_photos import put, tell
from tests.photographs import with_gps

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])
ROUNDS = 4


@pytest.fixture
def bags(world: World) -> list[Bag]:
    return Bench(world).make()


def test_a_photograph_by_two_lines_at_once_is_kept_once(
    world: World, bags: list[Bag]
) -> None:
    phone, sent = Device(world.people["lab"]), with_gps()
    key = tell(phone, bags[0], sent)
    line(world).send(phone)
    answers = at_once(
        lambda: put(world, key, sent), lambda: put(world, key, sent, "coordinator")
    )
    assert sorted(one.status_code for one in answers) == [200, 201]
    with stating(world.group.pk):
        assert BagPhoto.objects.count() == 1
    assert len(list(folder_of("photos", world.group.pk).iterdir())) == 1


def test_two_devices_with_the_same_bags_the_other_way_round_both_arrive(
    world: World, bags: list[Bag]
) -> None:
    for _ in range(ROUNDS):
        one, other = (Device(world.people[who]) for who in ("lab", "coordinator"))
        for bag in bags:
            collect(one, bag)
        wash(one, *bags)
        for bag in reversed(bags):
            collect(other, bag)
        wash(other, *reversed(bags))
        told = at_once(
            lambda: line(world).send(one),  # noqa: B023 - done before the next
            lambda: line(world, "coordinator").send(other),  # noqa: B023
        )
        assert [len(answer["results"]) for answer in told] == [4, 4]
        assert not any("could not be worked out" in str(answer) for answer in told)
    with stating(world.group.pk):
        # Whoever came first stands; the others change nothing, and are told.
        assert BagStep.objects.exclude(before="").count() == 2 * len(bags)
        assert WashBatch.objects.count() == 1
        assert BenchAct.objects.count() == ROUNDS * 2 * 2 * len(bags)
        assert set(BenchAct.objects.values_list("state", flat=True)) <= {
            "done",
            "unchanged",
        }
