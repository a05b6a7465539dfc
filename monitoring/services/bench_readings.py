"""Follow readings at the bench from their events, and publish those that are finished.

While a reading is open only its start and its end are looked at; its presses are folded
once, when it is finished and every event before the end has arrived.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction
from django.urls import reverse

from blocks.access import COUNTERS, Member, require
from monitoring.bench.folding import fold
from monitoring.bench.judging import Doubt, judge
from monitoring.models import Bag, BenchDevice, BenchEvent, BenchReading, Dish
from monitoring.pages.dish_cells_page import grid_of
from monitoring.queries.bench_readings import as_folded, events_of, organisms_by_key
from monitoring.services.bench_publishing import (
    Finished,
    Terms,
    believed_day,
    doubts_of_place,
    doubts_of_score,
    publish_reading,
    scored,
    standing_of,
)
from monitoring.sheets.publishing_lock import publish_beside_others

State = BenchReading.State
NO_KEY = UUID(int=0)
# Nobody washes a leaf more often, or into more dishes.
MOST_DISHES = 99
STILL_MISSING = (
    "finished at the bench; events before its end are still on their way, and it counts"
    " when they have come"
)
SHEET_FIRST = "finished; it counts once the count sheet that is being published is in"
NO_BAG = (
    "No bag of this farm group has the key that the bench gave. Give the reading to its"
    " bag, or set it aside."
)
NO_DISH = (
    "No dish of this farm group has the key that the bench gave. Say which dish it was,"
    " or set it aside."
)
MET_ANOTHER = "Somebody published in the same place at the same moment. Look at both."


@dataclass(frozen=True, slots=True)
class _Heads:
    """A reading's start, and its end where that has come."""

    start: BenchEvent
    end: BenchEvent | None = None

    @property
    def device(self) -> BenchDevice:
        """The device that the reading belongs to."""
        device: BenchDevice = self.start.device
        return device

    @property
    def reached_end(self) -> BenchEvent | None:
        """Its end, where nothing before that is missing."""
        end = self.end
        return end if end and end.sequence <= self.device.complete_to else None


def follow(member: Member, reading_uuids: Iterable[UUID]) -> list[dict[str, Any]]:
    """Bring readings up to date with their events, and say where each stands.

    Runs in the caller's transaction; doing it again, or two at once, changes nothing
    more. A reading whose start has not come yet is not told of. 2 queries for readings
    that are open already, 6 where some are new, about 20 for each that is finished.
    """
    require(member, COUNTERS)
    uuids = sorted(set(reading_uuids))
    heads = _heads(member.group_id, uuids)
    readings = _locked(member, heads)
    ready = sorted(
        (
            (end.pk, reading)
            for reading in readings
            if reading.state == State.OPEN
            and (end := heads[reading.uuid].reached_end) is not None
        ),
        key=lambda one: one[0],
    )
    if ready and not publish_beside_others(member.group_id):
        # Looked at again at the device's next visit, or by the sweep of the minute.
        ready = []
    lock_bags(member.group_id, [reading for _, reading in ready])
    # In the order in which they were finished: the first of two on one dish stands.
    for _, reading in ready:
        _end(member, reading, heads[reading.uuid])
    return [_answer(member, reading, heads[reading.uuid]) for reading in readings]


def keep_open(member: Member, reading_uuid: UUID) -> None:
    """Have a reading's row although what follows from its events could not be done."""
    _locked(member, _heads(member.group_id, [reading_uuid]))


def _heads(farm_group_id: int, uuids: Sequence[UUID]) -> dict[UUID, _Heads]:
    rows = (
        BenchEvent.objects.for_group(farm_group_id)
        .filter(
            reading_uuid__in=uuids, kind__in=["start", "finish", "drop"], refusal=""
        )
        .select_related("device", "author")
        .order_by("pk")
    )
    starts: dict[UUID, BenchEvent] = {}
    ends: dict[UUID, BenchEvent] = {}
    for row in rows:
        found = starts if row.kind == "start" else ends
        before = found.get(row.reading_uuid)
        if before is None or (
            row.device_id == before.device_id and row.sequence < before.sequence
        ):
            found[row.reading_uuid] = row
    return {
        key: _Heads(start, _end_of(start, ends.get(key)))
        for key, start in starts.items()
    }


def _end_of(start: BenchEvent, end: BenchEvent | None) -> BenchEvent | None:
    same = end is not None and end.device_id == start.device_id
    return end if same and end is not None and end.sequence > start.sequence else None


def _locked(member: Member, heads: dict[UUID, _Heads]) -> list[BenchReading]:
    """Lock the readings' rows, made first where there are none; in a fixed order."""
    readings = _rows(member.group_id, heads)
    there = {reading.uuid for reading in readings}
    new = {key: one for key, one in heads.items() if key not in there}
    if not new:
        return readings
    _make(member.group_id, new)
    return _rows(member.group_id, heads)


def _rows(farm_group_id: int, uuids: Iterable[UUID]) -> list[BenchReading]:
    return list(
        BenchReading.objects.for_group(farm_group_id)
        .filter(uuid__in=list(uuids))
        .select_related("analyst", "bag", "dish")
        .order_by("uuid")
        .select_for_update(of=("self",), no_key=True)
    )


def _make(farm_group_id: int, heads: dict[UUID, _Heads]) -> None:
    payloads = {key: one.start.payload for key, one in heads.items()}
    bags = {
        row.uuid: row
        for row in Bag.objects.for_group(farm_group_id).filter(
            uuid__in=[_key(one.get("bag")) for one in payloads.values()]
        )
    }
    dishes = {
        row.uuid: row
        for row in Dish.objects.for_group(farm_group_id).filter(
            uuid__in=[_key(one.get("dish")) for one in payloads.values()]
        )
    }
    BenchReading.objects.bulk_create(
        [
            BenchReading(
                uuid=key,
                farm_group_id=farm_group_id,
                device=one.device,
                bag=bags.get(_key(payloads[key].get("bag"))),
                bag_uuid=_key(payloads[key].get("bag")),
                wash_number=_from_one(payloads[key].get("wash_number")),
                dish=dishes.get(_key(payloads[key].get("dish"))),
                dish_number=_from_one(payloads[key].get("dish_number")),
                analyst=one.start.author,
                recount=payloads[key].get("recount") is True,
                blind=payloads[key].get("blind") is True,
                started_at=one.start.device_at,
            )
            for key, one in sorted(heads.items())
        ],
        ignore_conflicts=True,
    )


def _key(value: object) -> UUID:
    try:
        return UUID(str(value))
    except ValueError:
        return NO_KEY


def _from_one(value: object) -> int:
    """Give a small whole number from 1; 1 for anything else."""
    is_number = isinstance(value, int) and not isinstance(value, bool)
    if not is_number or not isinstance(value, int):
        return 1
    return value if 1 <= value <= MOST_DISHES else 1


def lock_bags(farm_group_id: int, readings: Iterable[BenchReading]) -> None:
    """Let two readings of one bag be settled one after the other; in a fixed order."""
    keys = {reading.bag_id for reading in readings if reading.bag_id}
    if not keys:
        return
    list(
        Bag.objects.for_group(farm_group_id)
        .filter(pk__in=keys)
        .order_by("pk")
        .select_for_update(no_key=True)
        .values_list("pk")
    )


def _end(member: Member, reading: BenchReading, heads: _Heads) -> None:
    end = heads.end
    if end is None:
        return
    reading.finished_at = end.device_at
    if end.kind == "drop":
        reading.state = State.DROPPED
        reading.why = str(end.payload.get("why") or "")
        reading.told = {"folded": fold(as_folded(events_of(reading)))}
        reading.save()
        return
    settle(reading, Terms(member=member))


def finished(reading: BenchReading, member: Member) -> Finished:
    """Fold a finished reading's events and judge them; at most 6 queries."""
    events = events_of(reading)
    folded = fold(as_folded(events))
    organisms = organisms_by_key(reading.farm_group_id)
    doubts = [
        *([Doubt("no-bag", NO_BAG)] if reading.bag_id is None else []),
        *([Doubt("no-dish", NO_DISH)] if reading.dish is None else []),
    ]
    if doubts or reading.dish is None:
        return Finished(folded=folded, counted=[], doubts=doubts, organisms=organisms)
    names = {key: organism.name for key, organism in organisms.items()}
    judged = judge(folded, grid=grid_of(reading.dish), names=names)
    # As the fold has it: the first end that was taken is the end.
    end = next(row for row in events if row.kind == "finish" and not row.refusal)
    day = believed_day(end.device_at, end.received_at, member)
    score = scored(reading, folded["score"], day)
    standing = standing_of(reading)
    return Finished(
        folded=folded,
        counted=judged.counted,
        doubts=[
            *judged.doubts,
            *doubts_of_place(reading, judged.counted, organisms, standing),
            *doubts_of_score(score),
        ],
        organisms=organisms,
        standing=standing,
        score=score,
    )


def settle(reading: BenchReading, terms: Terms) -> None:
    """Publish a finished reading, or let it wait with what a person must know.

    A reading that somebody has decided upon is published despite its doubts. Its row
    and its bag's must be locked.
    """
    done = finished(reading, terms.member)
    if done.doubts and terms.how == "first":
        wait(reading, done, done.doubts)
        return
    reading.magnification = _magnification(done.folded["magnification"])
    try:
        with transaction.atomic():
            _publish(reading, done, terms)
    except IntegrityError:
        # A sheet was published in the same place since this reading was judged.
        again = finished(reading, terms.member)
        met = Doubt("already-counted", MET_ANOTHER)
        wait(reading, again, again.doubts or [met])


def _publish(reading: BenchReading, done: Finished, terms: Terms) -> None:
    publish_reading(reading, done, terms)
    _keep(reading, done)
    reading.why = ""
    reading.save()


def wait(reading: BenchReading, done: Finished, doubts: Sequence[Doubt]) -> None:
    """Let a reading wait for a person, with what they must know."""
    apart = {doubt.code for doubt in doubts} & {"no-bag", "no-dish"}
    reading.state = State.QUARANTINED if apart else State.WAITING
    reading.why = " ".join(doubt.words for doubt in doubts)
    _keep(reading, replace(done, doubts=list(doubts)))
    reading.magnification = _magnification(done.folded["magnification"])
    reading.save()


def _keep(reading: BenchReading, done: Finished) -> None:
    """Keep what a reading came to, beside what was decided about it."""
    decisions = {
        key: value for key, value in reading.told.items() if key == "decisions"
    }
    reading.told = done.told() | decisions


def _magnification(value: object) -> float | None:
    usable = isinstance(value, int | float) and not isinstance(value, bool)
    return float(value) if usable and isinstance(value, int | float) else None


def _answer(member: Member, reading: BenchReading, heads: _Heads) -> dict[str, Any]:
    why = reading.why
    if reading.state == State.OPEN and heads.end is not None:
        why = SHEET_FIRST if heads.reached_end else STILL_MISSING
    return {
        "id": str(reading.uuid),
        "state": reading.state,
        "why": why,
        "bag": str(reading.bag.uuid) if reading.bag else None,
        "url": reverse("bench-decide", args=[member.farm_group.slug, reading.uuid]),
    }
