"""What each kind of event must carry (schema 1)."""

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Final

from monitoring.bench.values import (
    Check,
    cell,
    choice,
    digest,
    flag,
    group,
    key,
    many,
    maybe,
    moment,
    number,
    place,
    row,
    text,
    whole,
    why_not_fields,
)

# More organisms, bags or dishes than anybody counts or washes at once.
MOST_ORGANISMS, MOST_BAGS, MOST_NUMBER = 40, 100, 99
MOST_ANIMALS, MOST_CELLS = 10_000_000, 10_000
LARGEST_PHOTO_BYTES = 12 * 1024 * 1024
# The largest whole number that JavaScript holds exactly.
LARGEST_SEED = 2**53 - 1
# Places of the pass that looks into cells are cells, of the other one rows.
IN_A_PASS: Final = MappingProxyType({"cells": cell, "whole": row})
PASS = choice(*IN_A_PASS)
NOTE, LONG_NOTE = text(300), text(2000)

OF_A_READING: Final[Mapping[str, Mapping[str, Check]]] = MappingProxyType(
    {
        "start": {
            "bag": key,
            "wash_number": whole(1, MOST_NUMBER),
            "dish": key,
            "dish_number": whole(1, MOST_NUMBER),
            "organisms": many(
                group(id=key, scope=choice("whole", "cells")), MOST_ORGANISMS
            ),
            "organism_set": digest(12),
            "seed": whole(0, LARGEST_SEED),
            "wanted_cv": number(0, 10, above=True),
            "pilot": whole(1, MOST_CELLS),
            "magnification": maybe(number(0, 10_000, above=True)),
            "recount": flag,
            "blind": flag,
            "page_version": maybe(text(60)),
        },
        "press": {"organism": key, "place": place},
        "read": {"pass": PASS, "place": place},
        "skip": {"pass": PASS, "place": place, "why": maybe(NOTE)},
        "call": {"cells": whole(1, MOST_CELLS)},
        "uncountable": {"organism": key},
        "magnification": {"value": number(0, 10_000, above=True)},
        "score": {"value": whole(-32_768, 32_767)},
        "note": {"text": LONG_NOTE},
        "undo": {"event": key},
        "redo": {"event": key},
        "finish": {"unread_why": maybe(NOTE)},
        "drop": {"why": maybe(NOTE)},
    }
)
BESIDE_READINGS: Final[Mapping[str, Mapping[str, Check]]] = MappingProxyType(
    {
        "collect": {
            "bag": key,
            "collected_at": moment,
            "point": maybe(
                group(
                    lon=number(-180, 180),
                    lat=number(-90, 90),
                    accuracy_m=maybe(number(0, 1_000_000)),
                )
            ),
            "note": maybe(NOTE),
        },
        # Takes back a collect that was a slip of the hand.
        "uncollect": {"bag": key, "why": maybe(NOTE)},
        "receive": {"bag": key},
        "lose": {"bag": key, "why": maybe(NOTE)},
        "wash": {
            "bags": many(key, MOST_BAGS),
            "number": whole(1, MOST_NUMBER),
            "washed_at": moment,
            "alcohol_percent": number(0, 100),
            "volume_ml": number(0, 100_000, above=True),
            "shake_s": number(0, 100_000),
            "piece_cm": maybe(number(0, 1_000, above=True)),
            "rinses": maybe(whole(0, MOST_NUMBER)),
            "note": maybe(LONG_NOTE),
        },
        "photo": {
            "photo": key,
            "bag": key,
            "sha256": digest(64),
            "size_bytes": whole(1, LARGEST_PHOTO_BYTES),
        },
    }
)


def _twice(keys: list[str], what: str) -> str:
    return "" if len(set(keys)) == len(keys) else f"{what} twice"


def _start(payload: Mapping[str, Any]) -> str:
    return _twice([one["id"] for one in payload["organisms"]], "an organism is named")


def _wash(payload: Mapping[str, Any]) -> str:
    return _twice(payload["bags"], "a bag is named")


def _in_its_pass(payload: Mapping[str, Any]) -> str:
    return why_not_fields(payload, {"place": IN_A_PASS[payload["pass"]]})


def _finish(payload: Mapping[str, Any]) -> str:
    totals = payload.get("totals")
    if not isinstance(totals, dict) or len(totals) > MOST_ORGANISMS:
        return "totals is not a count for each organism"
    count = whole(0, MOST_ANIMALS)
    for organism, total in totals.items():
        if key(organism):
            return "totals names an organism by something other than its key (UUID)"
        if wrong := why_not_fields({"total": total}, {"total": count}):
            return wrong
    return ""


_WHOLE: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = MappingProxyType(
    {
        "start": _start,
        "read": _in_its_pass,
        "skip": _in_its_pass,
        "finish": _finish,
        "wash": _wash,
    }
)


def why_not(kind: str, payload: Mapping[str, Any]) -> str:
    """Say what is wrong with the payload of a known kind; nothing if it is right.

    What it carries besides is kept with it and counts for nothing.
    """
    fields = OF_A_READING.get(kind) or BESIDE_READINGS[kind]
    wrong = why_not_fields(payload, fields)
    if not wrong and kind in _WHOLE:
        wrong = _WHOLE[kind](payload)
    return wrong
