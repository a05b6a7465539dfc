"""Fold the events of one reading into what was counted; the page's fold does the same.

tests/monitoring/bench/vectors.json holds cases that both must give alike.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

UNDOABLE: Final = frozenset(
    {
        "press",
        "read",
        "skip",
        "call",
        "uncountable",
        "magnification",
        "score",
        "note",
    }
)
# The pass in which an organism of a scope is counted has the scope's name.
PASSES: Final = ("cells", "whole")
ENDS: Final = frozenset({"finish", "drop"})
KINDS: Final = UNDOABLE | ENDS | {"start", "undo", "redo"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """One event of a reading, as its device numbered it."""

    id: str
    sequence: int
    kind: str
    payload: Mapping[str, Any]
    refused: bool = False


@dataclass(slots=True)
class _Fold:
    """What the events so far come to."""

    started: Mapping[str, Any] | None = None
    ended: Event | None = None
    # Every undoable event that was taken, in order; and those that stand undone.
    taken: dict[str, Event] = field(default_factory=dict)
    undone: set[str] = field(default_factory=set)
    # What a redo would bring back, newest last; a new act ends it.
    redoable: list[str] = field(default_factory=list)
    # Everything else, which cannot be undone.
    others: set[str] = field(default_factory=set)
    odd: list[str] = field(default_factory=list)

    @property
    def scopes(self) -> dict[str, str]:
        """The scope of each organism counted, by its id."""
        listed = (self.started or {}).get("organisms", [])
        return {str(one["id"]): str(one["scope"]) for one in listed}


def fold(events: Iterable[Event]) -> dict[str, Any]:
    """Say what a reading's events come to, in whatever order they are given.

    They are taken in the order of their sequence, each once, refused ones left out.
    """
    state = _Fold()
    once = {event.id: event for event in events if not event.refused}
    for event in sorted(once.values(), key=lambda one: one.sequence):
        _take(state, event)
    return _told(state)


def _take(state: _Fold, event: Event) -> None:
    kind = event.kind
    why = _why_not(state, event)
    if why:
        state.odd.append(f"{kind} {why}")
    elif kind in UNDOABLE:
        state.taken[event.id] = event
        state.redoable.clear()
        return
    elif kind == "undo":
        target = str(event.payload["event"])
        state.undone.add(target)
        state.redoable.append(target)
    elif kind == "redo":
        target = str(event.payload["event"])
        state.undone.discard(target)
        state.redoable = [one for one in state.redoable if one != target]
    elif kind == "start":
        state.started = event.payload
    else:
        state.ended = event
    state.others.add(event.id)


def _why_not(state: _Fold, event: Event) -> str:
    """Say why an event cannot be taken where it stands; empty if it can."""
    if event.kind not in KINDS:
        return "is not a kind of event"
    if event.kind == "start":
        return "for the second time" if state.started is not None else ""
    if state.started is None:
        return "before the start"
    if state.ended is not None:
        return "after the end"
    return _why_no_act(state, event)


def _why_no_act(state: _Fold, event: Event) -> str:
    kind, payload = event.kind, event.payload
    why = ""
    if kind in {"undo", "redo"}:
        why = _why_no_undo(state, kind, str(payload.get("event")))
    elif kind in {"press", "uncountable"}:
        if str(payload.get("organism")) not in state.scopes:
            why = "of an organism that is not in the reading"
    elif kind in {"read", "skip"} and payload.get("pass") not in PASSES:
        why = "in an unknown pass"
    return why


def _why_no_undo(state: _Fold, kind: str, target: str) -> str:
    if target not in state.taken:
        return (
            "of an event that cannot be undone"
            if target in state.others
            else "of an event that is not in the reading"
        )
    if (target in state.undone) == (kind == "undo"):
        stands = "is undone" if kind == "undo" else "stands"
        return f"of an event that {stands} already"
    return ""


def _told(state: _Fold) -> dict[str, Any]:
    active = [one for key, one in state.taken.items() if key not in state.undone]
    read, skipped = _places(active)
    presses = [one for one in active if one.kind == "press"]
    odd = list(state.odd)
    finished = state.ended is not None and state.ended.kind == "finish"
    if finished:
        lost = sum(_nowhere(one, state.scopes, read, skipped) for one in presses)
        odd += [f"presses in places neither read nor skipped: {lost}"] if lost else []
    ended: Mapping[str, Any] = state.ended.payload if state.ended else {}
    return {
        "started": state.started,
        "organisms": _organisms(state.scopes, active, read),
        "read": read,
        "skipped": skipped,
        "called": _last(active, "call", "cells"),
        "magnification": _last(active, "magnification", "value")
        or (state.started or {}).get("magnification"),
        "score": _last(active, "score", "value"),
        "note": "\n".join(
            str(one.payload.get("text", "")) for one in active if one.kind == "note"
        ),
        "presses": len(presses),
        "undone": len(state.undone),
        "last_active": active[-1].id if active else None,
        "last_undone": state.redoable[-1] if state.redoable else None,
        "finished": (
            {
                "totals": ended.get("totals", {}),
                "unread_why": ended.get("unread_why") or "",
            }
            if finished
            else None
        ),
        "dropped": (
            ended.get("why") or "" if state.ended is not None and not finished else None
        ),
        "odd": odd,
    }


def _places(
    active: list[Event],
) -> tuple[dict[str, list[str]], dict[str, dict[str, str]]]:
    """Give the places read, in the order first read, and those skipped, with why.

    Of one that was both, the later act goes.
    """
    latest = {
        (one.payload["pass"], str(one.payload.get("place"))): one
        for one in active
        if one.kind in {"read", "skip"}
    }
    read: dict[str, list[str]] = {name: [] for name in PASSES}
    skipped: dict[str, dict[str, str]] = {name: {} for name in PASSES}
    for one in active:
        if one.kind not in {"read", "skip"}:
            continue
        name, place = one.payload["pass"], str(one.payload.get("place"))
        last = latest[name, place]
        if last.kind == "skip":
            skipped[name][place] = str(last.payload.get("why") or "")
        elif one.kind == "read" and place not in read[name]:
            read[name].append(place)
    return read, skipped


def _organisms(
    scopes: Mapping[str, str], active: list[Event], read: Mapping[str, list[str]]
) -> dict[str, dict[str, Any]]:
    places: dict[str, Counter[str]] = {key: Counter() for key in scopes}
    uncountable = set()
    for one in active:
        organism = str(one.payload.get("organism"))
        if one.kind == "press":
            places[organism][str(one.payload.get("place"))] += 1
        elif one.kind == "uncountable":
            uncountable.add(organism)
    return {
        key: {
            "scope": scope,
            "uncountable": key in uncountable,
            "count": sum(places[key][place] for place in read.get(scope, [])),
            "places": dict(places[key]),
        }
        for key, scope in scopes.items()
    }


def _nowhere(
    press: Event,
    scopes: Mapping[str, str],
    read: Mapping[str, list[str]],
    skipped: Mapping[str, Mapping[str, str]],
) -> bool:
    scope = scopes[str(press.payload.get("organism"))]
    place = str(press.payload.get("place"))
    return place not in read.get(scope, []) and place not in skipped.get(scope, {})


def _last(active: list[Event], kind: str, key: str) -> Any:
    of_kind = [one.payload.get(key) for one in active if one.kind == kind]
    return of_kind[-1] if of_kind else None
