"""A world whose counts go in at the desk and whose alerts are judged at a set time."""

from datetime import UTC, date, datetime
from typing import Any

from django.db import transaction

from alerts.models import Transition
from alerts.services.sweeps import judge_changes
from alerts.services.thresholds import Values, Watched, set_threshold, subscribe
from blocks.access import Member, member_for
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import Organism
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

NOW = datetime(2026, 8, 16, 9, tzinfo=UTC)
DAY = date(2026, 8, 14)


def member(world: World, role: str = "coordinator") -> Member:
    return member_for(world.people[role], world.slug)


def set_mite_threshold(world: World, level: float = 50, **values: Any) -> None:
    with transaction.atomic():
        who = member(world)
        mites = Organism.objects.get(code="rust_mites")
        set_threshold(
            who,
            Watched(tissue="leaf", organism=mites),
            Values(level=level, **values),
            reason="",
            now=NOW,
        )


def publish(world: World, mites: list[int], *, on: date = DAY, block: str = "Block 0",
            predators: int = 0) -> None:  # fmt: skip
    desk = Desk(world)
    rows = [
        bag_row(bag=i, block=block, collected_on=on, washed_on="", rust_mites=count,
                predatory_mites=predators)
        for i, count in enumerate(mites)
    ]  # fmt: skip
    sheet = desk.upload(bag_sheet(*rows))
    assert desk.codes(sheet) == []
    desk.publish(sheet)
    compute_changed(world.group.pk)


def judge(world: World, *, now: datetime = NOW) -> int:
    return judge_changes(world.group.pk, now=now)


def kinds(world: World) -> list[str]:
    with stating(world.group.pk):
        return list(Transition.objects.order_by("pk").values_list("kind", flat=True))


def let_subscribe(world: World, *roles: str) -> None:
    with transaction.atomic():
        for role in roles:
            subscribe(member(world, role), by_email=True)


HIGH = [400, 350, 500, 280, 610, 330]
LOW = [0, 1, 0, 2, 1, 0]
