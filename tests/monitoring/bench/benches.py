"""A device at a bench: it numbers what is done, keeps it, and sends it."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import transaction

from blocks.access import Member, member_for
from blocks.tenancy import stating
from monitoring.bench.events import read_batch
from monitoring.bench.judging import rows_of
from monitoring.estimation import cell_order
from monitoring.models import Bag, BenchReading, Dish, Organism, Tally
from monitoring.pages.dish_cells_page import grid_of
from monitoring.services.bags import Wanted, make_bags
from monitoring.services.bench_events import take_in
from tests.builders import World

BEGAN = datetime(2026, 8, 15, 9, tzinfo=UTC)
DAY = BEGAN.date()
# The site's clock when events arrive.
ARRIVES = BEGAN + timedelta(hours=1)


@dataclass
class Bench:
    """One device, used by the person of a role.

    What is done waits in `unsent` until it is sent.
    """

    world: World
    role: str = "lab"
    device: UUID = field(default_factory=uuid4)
    number: int = 0
    unsent: list[dict[str, Any]] = field(default_factory=list)

    @property
    def member(self) -> Member:
        return member_for(self.world.people[self.role], self.world.slug)

    def act(self, kind: str, reading: str, **payload: Any) -> str:
        """Do something, and give the key of its event."""
        self.number += 1
        event = {
            "id": str(uuid4()),
            "sequence": self.number,
            "schema": 1,
            "kind": kind,
            "at": (BEGAN + timedelta(seconds=self.number)).isoformat(),
            "author": str(self.world.people[self.role].uuid),
            "reading": reading,
            "payload": payload,
        }
        self.unsent.append(event)
        return str(event["id"])

    def start(self, bag: Bag | str, **given: Any) -> str:
        """Begin a reading; of rust mites in the whole dish if nothing else is said."""
        with stating(self.world.group.pk):
            usual = Dish.objects.get(farm_group=self.world.group, is_usual=True)
        scopes = given.pop("organisms", {"rust_mites": "whole"})
        payload = {
            "bag": str(bag.uuid) if isinstance(bag, Bag) else bag,
            "wash_number": 1,
            "dish": str(usual.uuid),
            "dish_number": 1,
            "organisms": [
                {"id": self.key(code), "scope": scope} for code, scope in scopes.items()
            ],
            "organism_set": "0123456789ab",
            "seed": 7,
            "wanted_cv": 0.15,
            "pilot": 10,
            "magnification": 40,
            "recount": False,
            "blind": False,
            "page_version": "1",
        }
        reading = str(uuid4())
        self.act("start", reading, **payload | given)
        return reading

    def key(self, code: str) -> str:
        """Give an organism's key; what is no code is taken for a key."""
        with stating(self.world.group.pk):
            found = Organism.objects.filter(
                farm_group=self.world.group, code=code
            ).first()
        return str(found.uuid) if found else code

    def press(self, reading: str, code: str, place: str, times: int = 1) -> str:
        return [
            self.act("press", reading, organism=self.key(code), place=place)
            for _ in range(times)
        ][-1]

    def read_rows(self, reading: str, *, but: tuple[str, ...] = ()) -> None:
        for row in rows_of(self.grid):
            if row not in but:
                self.act("read", reading, **{"pass": "whole", "place": row})

    @property
    def grid(self) -> Any:
        with stating(self.world.group.pk):
            return grid_of(Dish.objects.get(farm_group=self.world.group, is_usual=True))

    def order(self, cells: int, seed: int = 7) -> list[str]:
        return list(cell_order(self.grid.cell_names, seed=seed)[:cells])

    def read_cells(self, reading: str, code: str, counts: list[int]) -> None:
        """Look into as many cells as there are counts, in the order drawn."""
        for cell, count in zip(self.order(len(counts)), counts, strict=True):
            if count:
                self.press(reading, code, cell, count)
            self.act("read", reading, **{"pass": "cells", "place": cell})

    def finish(self, reading: str, unread_why: str = "", **totals: int) -> str:
        named = {self.key(code): total for code, total in totals.items()}
        return self.act("finish", reading, totals=named, unread_why=unread_why)

    def count(self, bag: Bag | str, mites: int, **given: Any) -> str:
        """Count rust mites in a whole dish, from start to end."""
        reading = self.start(bag, **given)
        if mites:
            self.press(reading, "rust_mites", "row 3", mites)
        self.read_rows(reading)
        self.finish(reading, rust_mites=mites)
        return reading

    def send(self, events: list[dict[str, Any]] | None = None) -> dict[str, Any]:
        """Send events, all that wait if none are given, and give the answer."""
        batch, self.unsent = (
            (self.unsent, []) if events is None else (events, self.unsent)
        )
        answer: dict[str, Any] = {}
        for at in range(0, max(len(batch), 1), 500):
            told = {
                "schema": 1,
                "device": {"id": str(self.device), "name": "Bench 1"},
                "sent_at": ARRIVES.isoformat(),
                "unsent": len(batch),
                "oldest_unsent_at": None,
                "events": batch[at : at + 500],
            }
            with transaction.atomic():
                answer = take_in(self.member, read_batch(told), now=ARRIVES)
        assert not [one for one in answer["results"] if one["status"] == "refused"], (
            answer
        )
        return answer

    def reading(self, key: str) -> BenchReading:
        with stating(self.world.group.pk):
            found: BenchReading = BenchReading.objects.select_related("bag").get(
                farm_group=self.world.group, uuid=key
            )
            return found

    def tallies(self, key: str) -> list[Tally]:
        with stating(self.world.group.pk):
            return list(
                Tally.objects.filter(source_reading__uuid=key)
                .select_related("organism", "wash")
                .prefetch_related("cell_counts")
                .order_by("organism__position")
            )


def some_bags(world: World, number: int = 1) -> list[Bag]:
    """Plan bags of leaves on the world's first block."""
    with stating(world.group.pk), transaction.atomic():
        lab = member_for(world.people["lab"], world.slug)
        wanted = Wanted(tissue="leaf", numbers={"mid": number})
        return make_bags(lab, world.block, DAY, wanted)


def page_of(world: World, key: str, role: str = "lab") -> str:
    """Give the text of a reading's page."""
    answer = world.client(role).get(world.url(f"bench/todo/{key}/"))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())
