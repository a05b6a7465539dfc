"""Folding a reading's events: cases shared with the page, and laws."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.bench.folding import UNDOABLE, Event, fold

VECTORS = json.loads((Path(__file__).parent / "vectors.json").read_text())["cases"]
ORGANISMS = ["a", "b"]
PLACES = ["H7", "C4", "row 1"]


@pytest.mark.parametrize("case", VECTORS, ids=[one["name"] for one in VECTORS])
def test_shared_case_is_folded_as_written(case: dict[str, Any]) -> None:
    assert fold([Event(**event) for event in case["events"]]) == case["folded"]


def test_shared_cases_meet_every_kind_of_event() -> None:
    met = {event["kind"] for case in VECTORS for event in case["events"]}
    assert met >= UNDOABLE | {"start", "undo", "redo", "finish", "drop"}
    assert len(VECTORS) >= 15


organism = st.sampled_from(ORGANISMS)
place = st.sampled_from(PLACES)
the_pass = st.sampled_from(["cells", "whole"])
acts = st.one_of(
    st.tuples(
        st.just("press"), st.fixed_dictionaries({"organism": organism, "place": place})
    ),
    st.tuples(
        st.just("read"), st.fixed_dictionaries({"pass": the_pass, "place": place})
    ),
    st.tuples(
        st.just("skip"),
        st.fixed_dictionaries({"pass": the_pass, "place": place, "why": st.just("x")}),
    ),
    st.tuples(st.just("uncountable"), st.fixed_dictionaries({"organism": organism})),
    st.tuples(st.just("call"), st.fixed_dictionaries({"cells": st.integers(10, 200)})),
    st.tuples(
        st.sampled_from(["undo", "redo"]),
        st.fixed_dictionaries(
            {"event": st.integers(0, 12).map(lambda number: f"e{number}")}
        ),
    ),
)


def _numbered(rows: list[tuple[str, dict[str, Any]]]) -> list[Event]:
    start = {
        "organisms": [{"id": "a", "scope": "cells"}, {"id": "b", "scope": "whole"}]
    }
    return [
        Event(id=f"e{number}", sequence=number, kind=kind, payload=payload)
        for number, (kind, payload) in enumerate([("start", start), *rows], start=1)
    ]


readings = st.lists(acts, max_size=14).map(_numbered)


@given(events=readings, chance=st.randoms(use_true_random=False))
def test_any_order_with_duplicates_folds_the_same(
    events: list[Event], chance: Any
) -> None:
    sent = [*events, *chance.choices(events, k=5)]
    chance.shuffle(sent)
    assert fold(sent) == fold(events)


@given(events=readings)
def test_undo_and_redo_of_the_last_act_change_nothing(events: list[Event]) -> None:
    before = fold(events)
    last = before["last_active"]
    if last is None:
        return
    number = len(events) + 1
    after = fold(
        [
            *events,
            Event(id="u", sequence=number, kind="undo", payload={"event": last}),
            Event(id="r", sequence=number + 1, kind="redo", payload={"event": last}),
        ]
    )
    assert after == before


@given(events=readings)
def test_counts_are_never_negative_nor_above_the_presses(events: list[Event]) -> None:
    folded = fold(events)
    counts = [one["count"] for one in folded["organisms"].values()]
    assert all(count >= 0 for count in counts)
    assert sum(counts) <= folded["presses"]


@given(events=readings)
def test_nothing_after_the_end_counts(events: list[Event]) -> None:
    end = Event(
        id="end", sequence=len(events) + 1, kind="finish", payload={"totals": {}}
    )
    later = [
        Event(
            id=f"later {one.id}",
            sequence=len(events) + 1 + one.sequence,
            kind=one.kind,
            payload=one.payload,
        )
        for one in events
    ]
    ended = fold([*events, end])
    followed = fold([*events, end, *later])
    assert {**followed, "odd": []} == {**ended, "odd": []}
    assert len(followed["odd"]) == len(ended["odd"]) + len(later)
