"""Take in what benches send: every event once, whatever the network did."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from blocks.access import COUNTERS, Member, require
from monitoring.bench.admission import Known, admit, why_too_far
from monitoring.bench.clocks import clock_words
from monitoring.bench.events import Batch, Told, Unkept
from monitoring.models import BenchDevice
from monitoring.services import bench_rows
from monitoring.services.bench_work import work_out

NUMBER_TAKEN = (
    "Another event has this number of this device already, so that it was not stored:"
    " the browser's store was copied, or went back to an earlier state. Let this device"
    " begin anew under a key of its own, then do it again."
)
DIFFERS = (
    "An event with this key is stored already and differs from this one; what is stored"
    " stands."
)
NO_PRESS_YET = "It waits for the event that it names, which has not come yet."
NO_PRESS = "The event that it names never came, so that it changes nothing."


@dataclass(slots=True)
class _Taken:
    """What became of a batch's events: those that were there, and the new ones."""

    there: dict[UUID, bench_rows.Stored]
    new: dict[UUID, Told] = field(default_factory=dict)
    too_far: dict[UUID, str] = field(default_factory=dict)
    # For each new event why it was refused; empty where it was taken.
    refusals: dict[UUID, str] = field(default_factory=dict)

    def lacks_its_press(self, event: Told) -> bool:
        """Tell whether an undo or a redo names an event that is not there."""
        if event.kind not in {"undo", "redo"}:
            return False
        target = UUID(event.payload["event"])
        return target not in self.there and target not in self.new


@transaction.atomic
def take_in(member: Member, batch: Batch, *, now: datetime) -> dict[str, Any]:
    """Store a batch, each event once, and say what became of each.

    Sent again, it changes nothing and is answered from what is stored. A device's
    batches are taken one after the other.
    """
    require(member, COUNTERS)
    device = bench_rows.device_locked(member, batch.device)
    complete_before = device.complete_to
    taken = _store(member, device, _told(batch), now=now)
    missing = _bring_up_to_date(device, taken)
    results = [_answer(one, taken, device) for one in batch.events]
    words = [*batch.words, *_note_visit(member, device, batch, results, now=now)]
    touched = {
        event.reading
        for event, result in zip(batch.events, results, strict=True)
        if isinstance(event, Told) and event.reading and result["status"] != "refused"
    }
    if device.complete_to > complete_before:
        # Some may have come long before, and waited for what came now.
        touched |= bench_rows.readings_between(
            device, complete_before, device.complete_to
        )
    readings, troubles = work_out(member, device, touched)
    return {
        "server_time": now,
        "results": results,
        "missing": missing,
        "complete_to": device.complete_to,
        "highest": device.highest_sequence,
        "clock_ahead_s": device.clock_ahead_s,
        "readings": readings,
        "words": list(dict.fromkeys([*words, *troubles])),
    }


def _told(batch: Batch) -> list[Told]:
    return [event for event in batch.events if isinstance(event, Told)]


def _store(
    member: Member, device: BenchDevice, told: list[Told], *, now: datetime
) -> _Taken:
    """Store what is new of a batch."""
    named = {
        UUID(event.payload["event"])
        for event in told
        if event.kind in {"undo", "redo"} and not event.refusal
    }
    keys = {event.id for event in told} | named
    taken = _Taken(there=bench_rows.stored(member.group_id, keys))
    _sort_out(device, told, taken)
    new = list(taken.new.values())
    people = bench_rows.people_of(member, {one.author for one in new if one.author})
    readings = {one.reading for one in new if one.reading}
    known = Known(
        device=device.pk,
        people=people,
        owners=bench_rows.owners_of(member.group_id, readings),
        targets={key: row.as_target for key, row in taken.there.items()},
    )
    taken.refusals = admit(new, known)
    rows = [
        bench_rows.Row(
            event=one,
            author=people.get(one.author) if one.author else None,
            refusal=taken.refusals[one.id],
        )
        for one in new
    ]
    added = bench_rows.insert(member, device, rows, now=now)
    raced = set(taken.new) - added
    if raced:
        # Another device stored events under the same keys in the meantime.
        taken.there |= bench_rows.stored(member.group_id, raced)
        taken.new = {key: one for key, one in taken.new.items() if key in added}
    return taken


def _sort_out(device: BenchDevice, told: Collection[Told], taken: _Taken) -> None:
    """Find the events that are neither stored nor numbered like another one."""
    fresh = [event for event in told if event.id not in taken.there]
    numbers = bench_rows.numbers_taken(device, {one.sequence for one in fresh})
    highest = device.highest_sequence
    for event in sorted(fresh, key=lambda one: one.sequence):
        far = why_too_far(event.sequence, highest)
        if far:
            taken.too_far[event.id] = far
        elif event.id not in taken.new and event.sequence not in numbers:
            taken.new[event.id] = event
            numbers.add(event.sequence)
            highest = max(highest, event.sequence)


def _bring_up_to_date(device: BenchDevice, taken: _Taken) -> list[list[int]]:
    """Note up to which number the device's events are all here, and what is missing."""
    added = [event.sequence for event in taken.new.values()]
    device.highest_sequence = max(device.highest_sequence, *added, 0)
    if device.highest_sequence == device.complete_to:
        return []
    missing = bench_rows.gaps_above(device)
    device.complete_to = missing[0][0] - 1 if missing else device.highest_sequence
    return missing


def _answer(event: Told | Unkept, taken: _Taken, device: BenchDevice) -> dict[str, Any]:
    """Say what became of one event."""
    if isinstance(event, Unkept):
        later = {"later": True} if event.later else {}
        return {"id": event.id, "status": "refused", "why": event.why, **later}
    row, new = taken.there.get(event.id), taken.new.get(event.id)
    said: dict[str, Any] = {"id": str(event.id)}
    if row is not None:
        status = "refused" if row.refusal else "known"
        why = row.refusal or ("" if _is_same(event, row, device) else DIFFERS)
    elif new is not None and new is not event:
        refusal = taken.refusals[event.id]
        status = "refused" if refusal else "known"
        why = refusal or ("" if new == event else DIFFERS)
    elif new is not None:
        status, why = _answer_new(event, taken, device)
    else:
        status, why = "refused", taken.too_far.get(event.id, NUMBER_TAKEN)
        said |= {} if event.id in taken.too_far else {"copied": True}
    return {**said, "status": status, "why": why}


def _answer_new(event: Told, taken: _Taken, device: BenchDevice) -> tuple[str, str]:
    if taken.refusals[event.id]:
        return "refused", taken.refusals[event.id]
    lacking = taken.lacks_its_press(event)
    if event.sequence > device.complete_to:
        first = device.complete_to + 1
        why = f"It waits for earlier events, from number {first:,} on."
        return "held", NO_PRESS_YET if lacking else why
    return "stored", NO_PRESS if lacking else ""


def _is_same(event: Told, row: bench_rows.Stored, device: BenchDevice) -> bool:
    return (
        row.device == device.pk
        and row.sequence == event.sequence
        and row.kind == event.kind
        and row.reading == event.reading
        and row.payload == event.payload
        and row.at == event.at
        and row.author == event.author
    )


def _note_visit(
    member: Member,
    device: BenchDevice,
    batch: Batch,
    results: Collection[Mapping[str, Any]],
    *,
    now: datetime,
) -> list[str]:
    """Keep who came when and what the device still holds; say if its clock errs."""
    kept_back = sum(1 for one in results if one.get("later"))
    device.name = batch.name
    device.last_seen_at = now
    device.last_person = member.user
    # As told, these of the batch were counted among those that wait.
    device.unsent = max(batch.unsent - len(results) + kept_back, kept_back)
    device.oldest_unsent_at = batch.oldest_unsent_at if device.unsent else None
    if batch.sent_at is not None:
        device.clock_ahead_s = (batch.sent_at - now).total_seconds()
    device.save()
    wrong = clock_words(device.clock_ahead_s) if batch.sent_at else ""
    if not wrong:
        return []
    return [
        f"This device's clock is {wrong}. Its times are kept as it tells them; the"
        " site's own time of arrival is kept beside them. Set the device's clock."
    ]
