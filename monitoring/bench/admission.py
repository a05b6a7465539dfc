"""Say which readable events of a batch are taken, given what is known already."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final
from uuid import UUID

from monitoring.bench.events import Told, refused
from monitoring.bench.folding import UNDOABLE

# A device that was away for a season numbers fewer events than this.
FARTHEST_AHEAD: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What an undo or a redo names: an event that is stored or in the same batch."""

    device: int
    sequence: int
    reading: UUID | None
    kind: str
    is_refused: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the site knows of a batch's people, readings and targets.

    people: keys of those who ever had a part in the group. owners: the device at which
    each reading began. targets: the stored events that the batch undoes or redoes.
    """

    device: int
    people: Mapping[UUID, int]
    owners: Mapping[UUID, int] = field(default_factory=lambda: MappingProxyType({}))
    targets: Mapping[UUID, Target] = field(default_factory=lambda: MappingProxyType({}))


def admit(events: list[Told], known: Known) -> dict[UUID, str]:
    """Say for each event, by its key, why it is refused; empty where it is taken.

    They are judged in the order of their numbers, since what a refused press leads to
    is refused with it.
    """
    targets = dict(known.targets)
    for event in events:
        targets.setdefault(event.id, _as_target(event, known, event.refusal))
    verdicts: dict[UUID, str] = {}
    for event in sorted(events, key=lambda one: one.sequence):
        refusal = event.refusal
        if not refusal and (why := _why_not(event, known, targets)):
            refusal = refused(event.sequence, event.kind, why)
        verdicts[event.id] = refusal
        targets[event.id] = _as_target(event, known, refusal)
    return verdicts


def _as_target(event: Told, known: Known, refusal: str) -> Target:
    return Target(
        device=known.device,
        sequence=event.sequence,
        reading=event.reading,
        kind=event.kind,
        is_refused=bool(refusal),
    )


def _why_not(event: Told, known: Known, targets: Mapping[UUID, Target]) -> str:
    if event.author not in known.people:
        return "the person it names never had a part in this farm group"
    if known.owners.get(event.reading or event.id, known.device) != known.device:
        return (
            "its reading was begun at another device, which alone goes on with it;"
            " begin a reading of your own"
        )
    if event.kind in {"undo", "redo"}:
        target = targets.get(UUID(event.payload["event"]))
        return _why_not_target(event, known, target) if target else ""
    return ""


def _why_not_target(event: Told, known: Known, target: Target) -> str:
    why = ""
    if target.device != known.device:
        why = "it names an event of another device, where alone it can be undone"
    elif target.reading != event.reading:
        why = "it names an event of another reading"
    elif target.is_refused:
        why = "it names an event that was refused and counts for nothing already"
    elif target.kind not in UNDOABLE:
        why = f"it names a {target.kind}, which cannot be undone"
    elif target.sequence > event.sequence:
        why = "it names an event that the device made later"
    return why


def why_too_far(sequence: int, highest: int) -> str:
    """Say why a number cannot be one of this device's; nothing if it can be."""
    if sequence <= highest + FARTHEST_AHEAD:
        return ""
    return (
        f"Its number, {sequence}, is far above the {highest:,} that this device has"
        " sent so far, so that it was not stored. Reload the bench page, then do it"
        " again."
    )
