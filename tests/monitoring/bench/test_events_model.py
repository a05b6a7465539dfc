"""Whatever benches and networks do, what was acknowledged is there exactly once."""

from contextlib import suppress
from itertools import count
from typing import Any
from uuid import UUID

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.bench.events import read_batch
from monitoring.bench.folding import fold
from monitoring.models import BenchEvent
from monitoring.queries.bench_readings import as_folded
from monitoring.services.bench_events import take_in
from tests.bench_devices import NOON, Device, Event
from tests.builders import World

pytestmark = pytest.mark.django_db
MITES = UUID(int=1)
PLACES = ["A1", "B2", "C3"]
ACTS = ["press", "press", "press", "read", "undo", "redo"]
_keys = count(2)


def _key() -> UUID:
    return UUID(int=next(_keys))


class CrashError(Exception):
    """The site dies before it has committed."""


class Bench:
    """A device with one reading, and what a person who watched it would know."""

    def __init__(self, world: World) -> None:
        self.device = Device(world.people["lab"], make_key=_key)
        self.reading = self.device.start(MITES)
        self.presses: dict[str, tuple[str, bool]] = {}
        self.read: set[str] = set()
        self.acknowledged: set[str] = set()
        # What the site has, whether or not its answer came back.
        self.sent: set[int] = set()

    @property
    def events(self) -> list[Event]:
        return self.device.events

    @property
    def count(self) -> int:
        return sum(
            stands and place in self.read for place, stands in self.presses.values()
        )

    def do(self, kind: str, place: str) -> None:
        """Press, read a place, or take back or bring back the latest press."""
        if kind == "press":
            event = self.device.press(self.reading, MITES, place)
            self.presses[event["id"]] = (place, True)
        elif kind == "read":
            self.device.make("read", self.reading, **{"pass": "cells", "place": place})
            self.read.add(place)
        elif self.presses:
            wanted = kind == "undo"
            fits = [
                key for key, (_, stands) in self.presses.items() if stands == wanted
            ]
            key = (fits or list(self.presses))[-1]
            self.device.make(kind, self.reading, event=key)
            self.presses[key] = (self.presses[key][0], not wanted)

    @property
    def gaps(self) -> list[list[int]]:
        """The missing ranges below the highest number that the site has."""
        missing: list[list[int]] = []
        for number in range(1, max(self.sent, default=0)):
            if number in self.sent:
                continue
            if missing and missing[-1][1] == number - 1:
                missing[-1][1] = number
            else:
                missing.append([number, number])
        return missing


class BenchesAndSite(RuleBasedStateMachine):
    """Two benches, their networks, and one site."""

    def __init__(self, world: World) -> None:
        super().__init__()
        self.world = world
        self.benches: list[Bench] = []
        self.foreign: set[str] = set()

    @initialize()
    def begin(self) -> None:
        self.benches = [Bench(self.world), Bench(self.world)]

    which = st.integers(0, 1)

    @rule(
        which=which,
        acts=st.lists(
            st.tuples(st.sampled_from(ACTS), st.sampled_from(PLACES)),
            min_size=3,
            max_size=12,
        ),
    )
    def count_for_a_while(self, which: int, acts: list[tuple[str, str]]) -> None:
        for kind, place in acts:
            self.benches[which].do(kind, place)

    @rule(which=which)
    def take_back_what_the_other_bench_pressed(self, which: int) -> None:
        mine, other = self.benches[which], self.benches[1 - which]
        if other.presses:
            target = {"id": max(other.presses)}
            self.foreign.add(mine.device.undo(mine.reading, target)["id"])

    @rule(
        which=which, data=st.data(), fate=st.sampled_from(["answered", "lost", "crash"])
    )
    def send_some(self, which: int, data: st.DataObject, fate: str) -> None:
        """Send any events in any order, even again; the answer may not come."""
        bench = self.benches[which]
        chosen = data.draw(
            st.lists(st.sampled_from(bench.events), min_size=1, max_size=12)
        )
        self._send(bench, chosen, fate)

    @rule(which=which, fate=st.sampled_from(["answered", "lost", "crash"]))
    def send_what_was_not_acknowledged(self, which: int, fate: str) -> None:
        bench = self.benches[which]
        waiting = [one for one in bench.events if one["id"] not in bench.acknowledged]
        self._send(bench, waiting, fate)

    @precondition(lambda self: any(bench.acknowledged for bench in self.benches))
    @rule(which=which)
    def sending_again_changes_nothing(self, which: int) -> None:
        bench = self.benches[which]
        before = self._rows(bench)
        again = [one for one in bench.events if one["id"] in bench.acknowledged]
        answer = self._take(bench, again)
        assert {one["status"] for one in answer["results"]} <= {"known", "refused"}
        assert self._rows(bench) == before

    @invariant()
    def what_was_acknowledged_is_there_once_and_nothing_else_is(self) -> None:
        for bench in self.benches:
            rows = self._rows(bench)
            keys = [str(row["uuid"]) for row in rows]
            assert len(keys) == len(set(keys))
            assert bench.acknowledged <= set(keys)
            assert {row["sequence"] for row in rows} == bench.sent
            made = {one["id"]: one for one in bench.events}
            for row in rows:
                event = made[str(row["uuid"])]
                assert row["payload"] == event["payload"]
                assert row["sequence"] == event["sequence"]

    def teardown(self) -> None:
        """Let the network come back: then the counts are those that were seen."""
        for bench in self.benches:
            answer = self._take(bench, bench.events)
            bench.sent |= {one["sequence"] for one in bench.events}
            assert answer["complete_to"] == len(bench.events)
            assert answer["missing"] == []
            assert self._folded(bench) == bench.count

    def _send(self, bench: Bench, events: list[Event], fate: str) -> None:
        if fate == "crash":
            with suppress(CrashError), transaction.atomic():
                self._take(bench, events)
                raise CrashError
            return
        answer = self._take(bench, events)
        bench.sent |= {one["sequence"] for one in events}
        self._check(bench, events, answer)
        if fate == "answered":
            bench.acknowledged |= {one["id"] for one in events}

    def _check(self, bench: Bench, events: list[Event], answer: dict[str, Any]) -> None:
        gaps = bench.gaps
        complete = gaps[0][0] - 1 if gaps else max(bench.sent, default=0)
        assert answer["missing"] == gaps[:50]
        assert answer["complete_to"] == complete
        for event, result in zip(events, answer["results"], strict=True):
            assert result["id"] == event["id"]
            if result["status"] == "refused":
                assert event["id"] in self.foreign
            if result["status"] == "stored":
                assert event["sequence"] <= complete
            if result["status"] == "held":
                assert event["sequence"] > complete

    def _take(self, bench: Bench, events: list[Event]) -> dict[str, Any]:
        batch = read_batch(bench.device.batch(events))
        with transaction.atomic():
            member = member_for(bench.device.person, self.world.slug)
            return take_in(member, batch, now=NOON)

    def _rows(self, bench: Bench) -> list[dict[str, Any]]:
        with stating(self.world.group.pk):
            rows = BenchEvent.objects.filter(device__uuid=bench.device.id)
            return list(rows.order_by("sequence").values())

    def _folded(self, bench: Bench) -> int:
        with stating(self.world.group.pk):
            rows = BenchEvent.objects.filter(reading_uuid=bench.reading)
            folded = fold(as_folded(rows))
        return int(folded["organisms"][str(MITES)]["count"])


def _run(world: World, *, schedules: int, steps: int) -> None:
    run_state_machine_as_test(
        lambda: BenchesAndSite(world),  # type: ignore[arg-type]  # a factory will do
        settings=settings(
            max_examples=schedules,
            stateful_step_count=steps,
            derandomize=True,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_the_count_is_what_was_seen_whatever_the_network_did(world: World) -> None:
    _run(world, schedules=20, steps=20)


@pytest.mark.slow
def test_the_count_is_what_was_seen_on_many_schedules(world: World) -> None:
    _run(world, schedules=500, steps=50)
