"""An act beside readings as it is done: who, when, which bags, and what comes of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from blocks.access import Member
from blocks.models import User
from monitoring.bench.clocks import ALLOWED_S
from monitoring.bench.values import as_moment
from monitoring.models import Bag, BenchAct, BenchEvent

State = BenchAct.State
NO_BAG = (
    "it names a bag that is not among those that you may see; if it is another farm's,"
    " let somebody of that farm send it or try it again"
)
LONGEST_NOTE = 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What came of an act for one bag, in words where a person should know."""

    bag_uuid: UUID
    bag: Bag | None = None
    state: str = State.DONE
    why: str = ""
    place_before: list[float] | None = None
    moved_place: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """An event beside readings, with those of its bags that it is done for.

    `bags` has those that the member may see, by their keys.
    """

    member: Member
    event: BenchEvent
    uuids: tuple[UUID, ...]
    bags: Mapping[UUID, Bag]

    @property
    def payload(self) -> dict[str, Any]:
        """What the device told."""
        payload: dict[str, Any] = self.event.payload
        return payload

    @property
    def author(self) -> User:
        """Who did it; whoever sent it where that is not known."""
        return self.event.author or self.event.sent_by or self.member.user

    def claimed_at(self, name: str = "") -> datetime:
        """Give when it was done, by the device's clock."""
        told = as_moment(self.payload.get(name)) if name else None
        return told or self.event.device_at

    def note(self, words: str = "", *, at: str = "") -> str:
        """Write what is kept with a step: the device's time where it differs."""
        claimed, parts = self.claimed_at(at), [words.strip()]
        if abs((self.event.received_at - claimed).total_seconds()) > ALLOWED_S:
            there = timezone.localtime(claimed, self.member.farm_group.zone)
            when = f"{there.day} {there:%b %Y, %H:%M}"
            parts.append(f"{when} by the clock of {self.event.device}")
        return "; ".join(part for part in parts if part)[:LONGEST_NOTE]

    def each(self, why: str, *, state: str = State.WAITING) -> list[Outcome]:
        """Say the same of all its bags."""
        return [
            Outcome(bag_uuid=key, bag=self.bags.get(key), state=state, why=why)
            for key in self.uuids
        ]


def bags_named(event: BenchEvent) -> tuple[UUID, ...]:
    """Give the keys of the bags that an act names, each once, in its order."""
    payload = event.payload
    # By kind: what an event carries besides its own fields counts for nothing.
    keys: Iterable[str] = payload["bags"] if event.kind == "wash" else [payload["bag"]]
    return tuple(dict.fromkeys(UUID(key) for key in keys))
