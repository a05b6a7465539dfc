"""A trial: one block treated, one left as a check, both counted before and after."""

from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest
from django.db import transaction

from blocks.access import Member, member_for
from blocks.models import Block
from blocks.tenancy import stating
from monitoring.models import Treatment
from monitoring.services import treatments as services
from monitoring.services.treatments import Done
from tests.builders import World, add_block
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import settle

NOW = datetime(2026, 8, 20, 9, tzinfo=UTC)
TREATED_ON = date(2026, 8, 4)
BEFORE, AFTER = "2026-08-01", "2026-08-14"
# Animals on each bag's leaf, by block and day; invented.
TREATED_BEFORE = [120, 64, 210, 35, 88, 140, 19, 240]
TREATED_AFTER = [12, 4, 31, 0, 9, 22, 2, 18]
CHECK_BEFORE = [90, 130, 41, 220, 75, 60, 150, 110]
CHECK_AFTER = [140, 200, 66, 310, 120, 95, 180, 160]


def rows_of(block: Block, day: str, counts: list[int], **more: object) -> list[str]:
    return [
        bag_row(
            bag=number,
            block=block.name,
            collected_on=day,
            washed_on=day,
            rust_mites=count,
            **{"predatory_mites": 1 + number % 3, "thrips": ""} | more,
        )
        for number, count in enumerate(counts)
    ]


def count(world: World, *rows: str) -> None:
    """Publish rows of a sheet, and compute what they change."""
    desk = Desk(world)
    sheet = desk.publish(desk.upload(bag_sheet(*rows)))
    assert sheet.state == "published", desk.findings(sheet)
    settle(world)


@dataclass
class Trial:
    """A farm group with a treated block and a check beside it."""

    world: World
    check: Block

    @property
    def block(self) -> Block:
        return self.world.block

    def member(self, role: str = "coordinator") -> Member:
        return member_for(self.world.people[role], self.world.slug)

    def done(self, **other: object) -> Done:
        usual: dict[str, object] = {
            "treated_on": TREATED_ON,
            "category": Treatment.Category.SULFUR,
            "active_ingredient": "wettable sulfur",
            "treated": [self.block],
            "rate": 4.0,
            "rate_unit": "kg/ha",
            "operator": "the spray team",
        }
        return Done(**usual | other)  # type: ignore[arg-type]

    def record(self, **other: object) -> Treatment:
        with transaction.atomic():
            return services.record(self.member(), self.done(**other), now=NOW)

    def count_all(self) -> None:
        count(
            self.world,
            *rows_of(self.block, BEFORE, TREATED_BEFORE),
            *rows_of(self.block, AFTER, TREATED_AFTER),
            *rows_of(self.check, BEFORE, CHECK_BEFORE),
            *rows_of(self.check, AFTER, CHECK_AFTER),
        )

    def page(self, path: str, role: str = "consultant", **query: str) -> str:
        """Open a page of treatments and give its words."""
        address = self.world.url(f"treatments/{path}")
        answer = self.world.client(role).get(address, query or None)
        assert answer.status_code == 200
        return " ".join(answer.content.decode().split())

    def efficacy(self, treatment: Treatment, **query: str) -> str:
        return self.page(f"{treatment.uuid}/blocks/{self.block.uuid}/", **query)


@pytest.fixture
def trial(world: World) -> Trial:
    check = add_block(world.farms[0], "Check block", west=10.005)
    return Trial(world, check)


def all_records(world: World) -> list[Treatment]:
    with stating(world.group.pk):
        return list(Treatment.objects.order_by("pk"))
