"""A person who makes bags for a block and takes them along their way."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import transaction

from blocks.access import Member, member_for
from blocks.tenancy import stating
from monitoring.models import Bag, BagStep
from monitoring.services.bag_ways import move_bags
from monitoring.services.bags import Wanted, make_bags
from tests.builders import World

DAY = date(2026, 8, 14)
USUAL: Mapping[str, int] = {"upper": 1, "mid": 2}


@dataclass
class Bench:
    """One person of a world, by role."""

    world: World
    role: str = "lab"

    @property
    def member(self) -> Member:
        return member_for(self.world.people[self.role], self.world.slug)

    def make(
        self, day: date = DAY, *, block: int = 0, numbers: Mapping[str, int] = USUAL
    ) -> list[Bag]:
        with transaction.atomic():
            wanted = Wanted(tissue="leaf", numbers=numbers)
            return make_bags(self.member, self.world.blocks[block], day, wanted)

    def move(self, way: str, *bags: Bag, note: str = "") -> None:
        with transaction.atomic():
            move_bags(self.member, [bag.pk for bag in bags], way, note=note)

    def take(self, bag: Bag, *ways: str) -> None:
        for way in ways:
            self.move(way, bag)

    def way(self, bag: Bag) -> str:
        with stating(self.world.group.pk):
            return Bag.objects.get(pk=bag.pk).way

    def steps(self, bag: Bag) -> list[tuple[str, str]]:
        with stating(self.world.group.pk):
            return list(
                BagStep.objects.filter(bag=bag)
                .order_by("pk")
                .values_list("before", "way")
            )

    def open(self, rest: str, **data: Any) -> Any:
        return self.world.client(self.role).get(self.world.url(rest), data)

    def post(self, rest: str, **data: Any) -> Any:
        return self.world.client(self.role).post(self.world.url(rest), data)
