"""A bench's device as tests see it: it numbers events, keeps them and sends them."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.test import Client

from blocks.models import User
from tests.builders import World

Event = dict[str, Any]
NOON = datetime(2026, 8, 16, 12, tzinfo=UTC)
SET = "0123456789ab"


def written(moment: datetime) -> str:
    """Write a moment as a browser does."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds")[:-6] + "Z"


@dataclass
class Device:
    """Makes events with numbers from 1; what was sent stays in `events`."""

    person: User
    id: UUID = field(default_factory=uuid4)
    name: str = "Window bench"
    now: datetime = NOON
    events: list[Event] = field(default_factory=list)
    make_key: Callable[[], UUID] = uuid4

    def make(self, kind: str, reading: UUID | None = None, **payload: Any) -> Event:
        """Do something at the bench."""
        self.now += timedelta(milliseconds=300)
        event = {
            "id": str(self.make_key()),
            "sequence": len(self.events) + 1,
            "schema": 1,
            "kind": kind,
            "at": written(self.now),
            "author": str(self.person.uuid),
            "reading": str(reading) if reading else None,
            "payload": payload,
        }
        self.events.append(event)
        return event

    def start(self, organism: UUID, *, bag: UUID | None = None, **changes: Any) -> UUID:
        """Begin a reading of one organism in cells."""
        reading = self.make_key()
        payload = {
            "bag": str(bag or uuid4()),
            "wash_number": 1,
            "dish": str(uuid4()),
            "dish_number": 1,
            "organisms": [{"id": str(organism), "scope": "cells"}],
            "organism_set": SET,
            "seed": 7,
            "wanted_cv": 0.15,
            "pilot": 10,
            "magnification": 40,
            "recount": False,
            "blind": True,
            "page_version": "1",
        }
        self.make("start", reading, **{**payload, **changes})
        return reading

    def press(self, reading: UUID, organism: UUID, place: str = "H7") -> Event:
        """See an animal."""
        return self.make("press", reading, organism=str(organism), place=place)

    def undo(self, reading: UUID, event: Event) -> Event:
        """Take back an act."""
        return self.make("undo", reading, event=event["id"])

    def batch(
        self, events: Iterable[Event] | None = None, **changes: Any
    ) -> dict[str, Any]:
        """Put events in an envelope; all there are unless said otherwise."""
        chosen = self.events if events is None else list(events)
        usual = {
            "schema": 1,
            "device": {"id": str(self.id), "name": self.name},
            "sent_at": written(self.now),
            "unsent": len(chosen),
            "oldest_unsent_at": chosen[0]["at"] if chosen else None,
            "events": chosen,
        }
        return {**usual, **changes}


@dataclass
class Line:
    """The way from a device to the site, signed in as somebody."""

    world: World
    client: Client

    @property
    def url(self) -> str:
        """Where events are sent to."""
        return self.world.url("bench/events/")

    def post(self, body: Any) -> Any:
        """Send a batch, whatever comes back."""
        return self.client.post(self.url, body, content_type="application/json")

    def send(self, device: Device, events: Iterable[Event] | None = None) -> Any:
        """Send events and give the site's answer."""
        answer = self.post(device.batch(events))
        assert answer.status_code == 200, answer.content
        return answer.json()

    def statuses(
        self, device: Device, events: Iterable[Event] | None = None
    ) -> list[str]:
        """Send events and say what became of each."""
        return [one["status"] for one in self.send(device, events)["results"]]


def line(world: World, role: str = "lab") -> Line:
    """Give a line of a person of a role."""
    return Line(world=world, client=world.client(role))
