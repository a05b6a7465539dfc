"""Read a batch of events as a device sent it: what can be kept, and what is wrong."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from blocks.errors import SiteError
from monitoring.bench.payloads import BESIDE_READINGS, OF_A_READING, why_not
from monitoring.bench.values import (
    LARGEST,
    as_key,
    as_moment,
    as_whole,
    is_storable,
    shown,
    why_not_storable,
)

SCHEMA: Final = 1
KINDS: Final = frozenset({*OF_A_READING, *BESIDE_READINGS})
MOST_EVENTS: Final = 500
LARGEST_PAYLOAD_BYTES: Final = 8_000
LONGEST_NAME, LONGEST_KIND, LONGEST_REFUSAL = 60, 20, 300
NEWER_SCHEMA: Final = (
    "The bench page is newer than this site and writes events that the site cannot"
    " read yet. They stay on the device; have the site updated, then send again."
)
COUNTS_FOR_NOTHING: Final = "It counts for nothing: do it again at the bench."


class BatchError(SiteError):
    """A batch that cannot be read at all; its events stay on the device."""

    code = "unreadable-batch"


class NewerSchemaError(BatchError):
    """A batch of a schema that is not known here yet."""

    code = "newer-schema"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An event that can be kept; one with a refusal keeps only its number."""

    id: UUID
    sequence: int
    schema: int
    kind: str
    at: datetime | None
    author: UUID | None
    reading: UUID | None
    payload: Mapping[str, Any]
    # The payload as it is stored.
    written: str
    refusal: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Unkept:
    """An event that is not kept: without a usable key or number, or of a newer page.

    `later` says that it can be sent again once the site was updated.
    """

    id: str | None
    why: str
    later: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """What a device sent at one visit.

    `words` says what could not be read beside the events.
    """

    device: UUID
    name: str
    sent_at: datetime | None
    unsent: int
    oldest_unsent_at: datetime | None
    events: list[Told | Unkept]
    words: list[str] = field(default_factory=list)


def read_batch(body: object) -> Batch:
    """Read a batch, or raise BatchError with what to do.

    A wrong event does not refuse the others.
    """
    if not isinstance(body, dict):
        raise BatchError("The batch is not a JSON object; nothing was stored.")
    schema, device = body.get("schema"), body.get("device")
    if (as_whole(schema) or 0) > SCHEMA:
        raise NewerSchemaError(NEWER_SCHEMA)
    if as_whole(schema) != SCHEMA:
        raise BatchError(
            f"The batch's schema is {shown(schema)}, not {SCHEMA}; nothing was stored."
            " Reload the bench page while there is a network, then send again."
        )
    events = body.get("events")
    if not isinstance(events, list):
        raise BatchError("The batch has no list of events; nothing was stored.")
    if len(events) > MOST_EVENTS:
        raise BatchError(
            f"The batch has {len(events):,} events; nothing was stored. Send at most"
            f" {MOST_EVENTS} at once."
        )
    device = device if isinstance(device, dict) else {}
    key = as_key(device.get("id"))
    if key is None:
        raise BatchError(
            "The batch does not name its device by a key (UUID); nothing was stored."
        )
    return _batch(body, key, str_name(device.get("name")), events)


def str_name(value: object) -> str:
    """Give a device's name as it can be kept and shown; empty for none."""
    if not isinstance(value, str):
        return ""
    kept = "".join(one for one in value if one.isprintable())
    return kept[:LONGEST_NAME].strip()


def _batch(body: dict[str, Any], device: UUID, name: str, events: list[Any]) -> Batch:
    words = []
    sent_at, unsent = as_moment(body.get("sent_at")), as_whole(body.get("unsent"))
    if sent_at is None:
        words.append(
            "The device did not say by its clock when it sent this, so that its clock"
            " could not be compared."
        )
    if unsent is None or not 0 <= unsent < 2**31:
        words.append("The device did not say how many of its events wait.")
        unsent = len(events)
    oldest, since = body.get("oldest_unsent_at"), None
    if oldest is not None:
        since = as_moment(oldest)
        if since is None:
            words.append("The device did not say since when its events wait.")
    return Batch(
        device=device,
        name=name,
        sent_at=sent_at,
        unsent=unsent,
        oldest_unsent_at=since,
        events=[read_event(one) for one in events],
        words=words,
    )


def read_event(raw: object) -> Told | Unkept:
    """Read one event, whatever it is."""
    if not isinstance(raw, dict):
        return Unkept(id=None, why="This is not an event, and was not stored.")
    said, sequence = raw.get("id"), as_whole(raw.get("sequence"))
    key = as_key(said)
    if key is None:
        name = said[:LONGEST_NAME] if isinstance(said, str) else None
        return Unkept(
            id=name if name is not None and is_storable(name) else None,
            why=f"Its key is {shown(said)}, not a UUID, so that it was not stored.",
        )
    if sequence is None or not 1 <= sequence <= LARGEST:
        number = shown(raw.get("sequence"))
        return Unkept(
            id=str(said),
            why=f"Its number is {number}, not a whole number from 1, so that it was"
            " not stored.",
        )
    if (as_whole(raw.get("schema")) or 0) > SCHEMA:
        return Unkept(id=str(said), why=NEWER_SCHEMA, later=True)
    return _told(raw, key, sequence)


def _told(raw: dict[str, Any], key: UUID, sequence: int) -> Told:
    kind, payload = raw.get("kind"), raw.get("payload")
    wrong, written = _why_not_payload(payload)
    clean = payload if not wrong and isinstance(payload, dict) else {}
    wrong = wrong or next(_wrongs(raw), "") or why_not(str(kind), clean)
    return Told(
        id=key,
        sequence=sequence,
        schema=SCHEMA if as_whole(raw.get("schema")) == SCHEMA else 0,
        kind=_kind(kind),
        at=as_moment(raw.get("at")),
        author=as_key(raw.get("author")),
        reading=as_key(raw.get("reading")),
        payload=clean,
        written=written,
        refusal=refused(sequence, _kind(kind), wrong) if wrong else "",
    )


def _kind(kind: object) -> str:
    if isinstance(kind, str) and kind.isprintable() and kind:
        return kind[:LONGEST_KIND]
    return "unknown"


def refused(sequence: int, kind: str, why: str) -> str:
    """Say which event was refused, why, and what to do."""
    ending = f". {COUNTS_FOR_NOTHING}"
    return f"{kind} {sequence}: {why}"[: LONGEST_REFUSAL - len(ending)] + ending


def _why_not_payload(payload: object) -> tuple[str, str]:
    """Say why a payload cannot be kept, and give it as it is stored."""
    if not isinstance(payload, dict):
        return f"its payload is {shown(payload)}, not a group of values", "{}"
    wrong = why_not_storable(payload)
    if wrong:
        return f"its payload cannot be kept: {wrong}", "{}"
    written = json.dumps(payload, ensure_ascii=False, separators=(",", ":"))
    size = len(written.encode())
    if size > LARGEST_PAYLOAD_BYTES:
        return (
            f"its payload has {size:,} bytes, more than {LARGEST_PAYLOAD_BYTES:,}",
            "{}",
        )
    return "", written


def _wrongs(raw: dict[str, Any]) -> Iterator[str]:
    """Say what is wrong with an event beside its payload."""
    kind, reading = raw.get("kind"), raw.get("reading")
    if as_whole(raw.get("schema")) != SCHEMA:
        yield f"its schema is {shown(raw.get('schema'))}, not {SCHEMA}"
    if not isinstance(kind, str) or kind not in KINDS:
        yield f"its kind, {shown(kind)}, is not known here"
    if as_moment(raw.get("at")) is None:
        yield (
            f"its time is {shown(raw.get('at'))}, not a date and time with a zone"
            " between 1900 and 2999; set the device's clock"
        )
    if as_key(raw.get("author")) is None:
        yield "it does not name who did it; sign in at the bench page first"
    if kind in OF_A_READING and as_key(reading) is None:
        yield f"its reading is {shown(reading)}, not a key (UUID)"
    if kind in BESIDE_READINGS and reading is not None:
        yield "it names a reading, though it stands beside readings"
