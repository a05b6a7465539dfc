"""Keep a device's events, each once, and know which of its numbers are missing."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.db import connection

from blocks.access import Member
from blocks.models import Membership
from monitoring.bench.admission import Target
from monitoring.bench.events import Told
from monitoring.models import BenchDevice, BenchEvent

MOST_GAPS = 50

# One statement for a whole batch. Whatever was stored meanwhile, by the same device or
# another, stays as it is.
INSERT = """
INSERT INTO monitoring_benchevent (
    uuid, farm_group_id, device_id, sequence, schema, kind, reading_uuid, payload,
    device_at, received_at, author_id, sent_by_id, refusal)
SELECT one.uuid, %(group)s, %(device)s, one.sequence, one.schema, one.kind,
    one.reading, one.payload::jsonb, one.at, %(now)s, one.author, %(sender)s,
    one.refusal
FROM unnest(
    %(uuids)s::uuid[], %(sequences)s::bigint[], %(schemas)s::smallint[],
    %(kinds)s::text[], %(readings)s::uuid[], %(payloads)s::text[],
    %(times)s::timestamptz[], %(authors)s::bigint[], %(refusals)s::text[]
) AS one (uuid, sequence, schema, kind, reading, payload, at, author, refusal)
ON CONFLICT DO NOTHING
RETURNING uuid
"""
GAPS = """
SELECT before + 1, sequence - 1 FROM (
    SELECT sequence, lag(sequence, 1, %(from)s) OVER (ORDER BY sequence) AS before
    FROM monitoring_benchevent
    WHERE farm_group_id = %(group)s AND device_id = %(device)s AND sequence > %(from)s
) AS later
WHERE sequence > before + 1 ORDER BY sequence LIMIT %(most)s
"""
# Where each reading began: its first event that was taken.
OWNERS = """
SELECT wanted.reading, (
    SELECT device_id FROM monitoring_benchevent AS event
    WHERE event.farm_group_id = %(group)s AND event.reading_uuid = wanted.reading
        AND event.refusal = ''
    ORDER BY event.sequence LIMIT 1)
FROM unnest(%(readings)s::uuid[]) AS wanted (reading)
"""
# Two devices that begin one reading at the same time do it one after the other. Few
# locks, since a batch may begin many readings; who shares one waits a moment.
LOCK_NEW_READINGS = """
SELECT pg_advisory_xact_lock(%(group)s::int, bucket) FROM (
    SELECT DISTINCT abs(hashtext(reading::text) %% 256) AS bucket
    FROM unnest(%(readings)s::uuid[]) AS new (reading) ORDER BY bucket
) AS buckets
"""


class Stored(NamedTuple):
    """An event that is stored, as far as one sent again is compared with it."""

    id: UUID
    device: int
    sequence: int
    kind: str
    reading: UUID | None
    payload: dict[str, Any]
    at: datetime
    author: UUID | None
    refusal: str

    @property
    def as_target(self) -> Target:
        """What an undo names."""
        return Target(
            device=self.device,
            sequence=self.sequence,
            reading=self.reading,
            kind=self.kind,
            is_refused=bool(self.refusal),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """An event to be stored: as read, by whom, and why it was refused."""

    event: Told
    author: int | None
    refusal: str


def device_locked(member: Member, key: UUID) -> BenchDevice:
    """Give the device's row, made where it is new, held until the transaction ends."""
    rows = BenchDevice.objects.for_group(member.group_id).select_for_update(no_key=True)
    found: BenchDevice | None = rows.filter(uuid=key).first()
    if found is None:
        BenchDevice.objects.bulk_create(
            [BenchDevice(uuid=key, farm_group_id=member.group_id)],
            ignore_conflicts=True,
        )
        found = rows.get(uuid=key)
    return found


def people_of(member: Member, keys: Collection[UUID]) -> dict[UUID, int]:
    """Give those who have or had a part in the group, by their keys; 1 query."""
    rows = (
        Membership.objects.for_group(member.group_id)
        .filter(user__uuid__in=keys)
        .values_list("user__uuid", "user_id")
    )
    return dict(rows)


def stored(farm_group_id: int, keys: Collection[UUID]) -> dict[UUID, Stored]:
    """Give the group's events with these keys; 1 query."""
    rows = (
        BenchEvent.objects.for_group(farm_group_id)
        .filter(uuid__in=keys)
        .values_list(
            "uuid",
            "device_id",
            "sequence",
            "kind",
            "reading_uuid",
            "payload",
            "device_at",
            "author__uuid",
            "refusal",
        )
    )
    return {row[0]: Stored(*row) for row in rows}


def numbers_taken(device: BenchDevice, sequences: Collection[int]) -> set[int]:
    """Tell which of these numbers the device has used already; 1 query."""
    rows = (
        BenchEvent.objects.for_group(device.farm_group_id)
        .filter(device=device, sequence__in=sequences)
        .values_list("sequence", flat=True)
    )
    return set(rows)


def owners_of(farm_group_id: int, readings: Collection[UUID]) -> dict[UUID, int]:
    """Give the device at which each reading began, and let no other begin it meanwhile.

    1 query; 3 where readings are new.
    """
    if not readings:
        return {}
    owners = _owners(farm_group_id, readings)
    new = [key for key, device in owners.items() if device is None]
    if new:
        with connection.cursor() as cursor:
            cursor.execute(LOCK_NEW_READINGS, {"group": farm_group_id, "readings": new})
        owners |= _owners(farm_group_id, new)
    return {key: device for key, device in owners.items() if device is not None}


def _owners(farm_group_id: int, readings: Collection[UUID]) -> dict[UUID, int | None]:
    with connection.cursor() as cursor:
        cursor.execute(OWNERS, {"group": farm_group_id, "readings": list(readings)})
        return dict(cursor.fetchall())


def insert(
    member: Member, device: BenchDevice, rows: Sequence[Row], *, now: datetime
) -> set[UUID]:
    """Store events, and give the keys of those that were not there yet; 1 query."""
    if not rows:
        return set()
    events = [row.event for row in rows]
    values: dict[str, Any] = {
        "group": member.group_id,
        "device": device.pk,
        "sender": member.user.pk,
        "now": now,
        "uuids": [event.id for event in events],
        "sequences": [event.sequence for event in events],
        "schemas": [event.schema for event in events],
        "kinds": [event.kind for event in events],
        "readings": [event.reading for event in events],
        "payloads": [event.written for event in events],
        # One that gave no time that can be read was refused for it.
        "times": [event.at or now for event in events],
        "authors": [row.author for row in rows],
        "refusals": [row.refusal for row in rows],
    }
    with connection.cursor() as cursor:
        cursor.execute(INSERT, values)
        return {key for (key,) in cursor.fetchall()}


def gaps_above(device: BenchDevice) -> list[list[int]]:
    """List the ranges of numbers that are missing, lowest first; 1 query."""
    with connection.cursor() as cursor:
        cursor.execute(
            GAPS,
            {
                "group": device.farm_group_id,
                "device": device.pk,
                "from": device.complete_to,
                "most": MOST_GAPS,
            },
        )
        return [[first, last] for first, last in cursor.fetchall()]


def readings_between(device: BenchDevice, after: int, until: int) -> set[UUID]:
    """Give the readings of the device's events with numbers in a range; 1 query."""
    rows = (
        BenchEvent.objects.for_group(device.farm_group_id)
        .filter(device=device, sequence__gt=after, sequence__lte=until, refusal="")
        .exclude(reading_uuid=None)
        .values_list("reading_uuid", flat=True)
        .distinct()
    )
    return set(rows)
