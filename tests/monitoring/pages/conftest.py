"""A block with counted rounds, ready to be looked at."""

from dataclasses import dataclass

import pytest
from django.db import transaction
from django.utils import timezone

from alerts.services.thresholds import Values, Watched, set_threshold
from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import (
    Density,
    DensityChange,
    Organism,
    Ratio,
    Round,
    RoundChange,
)
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

COUNTS = [0, 30, 90, 150, 210, 60, 120, 240]


@dataclass
class Season:
    """A world whose first block has two rounds, with what tests ask of it."""

    world: World

    def path(self, code: str = "rust_mites") -> dict[str, str]:
        """Give the address of each kind of page about the newest round."""
        with stating(self.world.group.pk):
            newest = Round.objects.order_by("-collected_on").first()
            assert newest is not None
            density = Density.objects.get(
                round=newest, organism__code=code, stratum="", is_current=True
            )
            ratio = Ratio.objects.filter(round=newest, is_current=True).first()
        return {
            "group": "",
            "map": "map/",
            "block": f"blocks/{self.world.block.uuid}/",
            "round": f"rounds/{newest.uuid}/",
            "density": f"densities/{density.uuid}/",
            "ratio": f"ratios/{ratio.uuid if ratio else ''}/",
        }

    def text(
        self,
        page: str,
        role: str = "consultant",
        *,
        code: str = "rust_mites",
        **query: str,
    ) -> str:
        """Open a page and give what is written on it."""
        answer = self.world.client(role).get(
            self.world.url(self.path(code)[page]), query or None
        )
        assert answer.status_code == 200
        return " ".join(answer.content.decode().split())


def settle(world: World) -> None:
    """Compute what is due and let the alerts have nothing to do."""
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        DensityChange.objects.all().delete()
        assert not RoundChange.objects.exists()


def set_mite_threshold(world: World, level: float) -> None:
    with transaction.atomic():
        coordinator = member_for(world.people["coordinator"], world.slug)
        set_threshold(
            coordinator,
            Watched(tissue="leaf", organism=Organism.objects.get(code="rust_mites")),
            Values(level=level),
            reason="a test",
            now=timezone.now(),
        )


@pytest.fixture
def season(desk: Desk, world: World) -> Season:
    rows = [
        bag_row(bag=number, rust_mites=count, predatory_mites=number % 3)
        for number, count in enumerate(COUNTS)
    ]
    rows += [bag_row(bag=number, collected_on="2026-08-01") for number in range(6)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    return Season(world)
