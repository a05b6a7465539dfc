"""Each event is read alone: what is wrong is said, and refuses nothing else."""

from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.bench.clocks import clock_words, long_words
from monitoring.bench.events import (
    LARGEST_PAYLOAD_BYTES,
    LONGEST_REFUSAL,
    BatchError,
    NewerSchemaError,
    Told,
    Unkept,
    read_batch,
    read_event,
)
from monitoring.bench.payloads import BESIDE_READINGS, OF_A_READING, why_not

KEY = "0b9f6a52-7c1d-4e8a-9d3e-5f0a1b2c3d4e"
LARGE = KEY.upper()
NOON = "2026-08-16T12:00:00.000Z"
START = {
    "bag": KEY,
    "wash_number": 1,
    "dish": KEY,
    "dish_number": 1,
    "organisms": [{"id": KEY, "scope": "cells"}],
    "organism_set": "0123456789ab",
    "seed": 7,
    "wanted_cv": 0.15,
    "pilot": 10,
    "magnification": None,
    "recount": False,
    "blind": True,
    "page_version": "1",
}
WASH = {
    "bags": [KEY],
    "number": 1,
    "washed_at": NOON,
    "alcohol_percent": 35,
    "volume_ml": 50,
    "shake_s": 30,
    "piece_cm": None,
    "rinses": 2,
    "note": "",
}
COLLECT = {
    "bag": KEY,
    "collected_at": NOON,
    "point": {"lon": 10.1, "lat": 45.1, "accuracy_m": 8},
    "note": "",
}
RIGHT: dict[str, dict[str, Any]] = {
    "start": START,
    "press": {"organism": KEY, "place": "row 7"},
    "read": {"pass": "cells", "place": "H7"},
    "skip": {"pass": "whole", "place": "row 12", "why": "torn"},
    "call": {"cells": 25},
    "uncountable": {"organism": KEY},
    "magnification": {"value": 40},
    "score": {"value": 2},
    "note": {"text": "much dirt"},
    "undo": {"event": KEY},
    "redo": {"event": KEY},
    "finish": {"totals": {KEY: 3}, "unread_why": ""},
    "drop": {"why": "spilt"},
    "collect": COLLECT,
    "receive": {"bag": KEY},
    "uncollect": {"bag": KEY, "why": "not this vine"},
    "lose": {"bag": KEY, "why": "wind"},
    "wash": WASH,
    "photo": {"photo": KEY, "bag": KEY, "sha256": "a" * 64, "size_bytes": 9},
}


def _event(kind: str = "press", **changes: Any) -> dict[str, Any]:
    usual = {
        "id": str(uuid4()),
        "sequence": 1,
        "schema": 1,
        "kind": kind,
        "at": NOON,
        "author": KEY,
        "reading": None if kind in BESIDE_READINGS else KEY,
        "payload": RIGHT.get(kind, {}),
    }
    return {**usual, **changes}


def _refusal(**changes: Any) -> str:
    read = read_event(_event(**changes))
    assert isinstance(read, Told)
    return read.refusal


def test_every_kind_has_a_right_example() -> None:
    assert set(RIGHT) == {*OF_A_READING, *BESIDE_READINGS}


@pytest.mark.parametrize("kind", RIGHT)
def test_a_right_event_of_each_kind_is_taken(kind: str) -> None:
    assert _refusal(kind=kind) == ""


@pytest.mark.parametrize("kind", sorted(set(RIGHT) - {"drop"}))
def test_an_event_without_its_payload_is_refused(kind: str) -> None:
    assert _refusal(kind=kind, payload={}) != ""


@pytest.mark.parametrize(
    ("kind", "changes", "words"),
    [
        ("press", {"organism": "rust mites"}, 'organism is "rust mites", not a key'),
        ("press", {"organism": KEY[:-1]}, "not a key"),
        ("press", {"organism": f"{{{KEY}}}"}, "not a key"),
        ("press", {"place": "7H"}, 'place is "7H", not a cell such as H7 or a row'),
        ("press", {"place": "row 0"}, "not a cell"),
        ("press", {"place": "h7"}, "not a cell"),
        ("press", {"place": ["H7"]}, "place is a list"),
        ("press", {"place": None}, "place is nothing"),
        ("read", {"place": "row 7"}, "not a cell such as H7"),
        ("read", {"pass": "whole"}, "not a row such as 'row 7'"),
        ("read", {"pass": "half"}, "not cells or whole"),
        ("skip", {"why": "x" * 301}, "at most 300 characters"),
        ("call", {"cells": 0}, "cells is 0, not a whole number from 1 to"),
        ("call", {"cells": True}, "cells is true"),
        ("call", {"cells": 2.5}, "cells is 2.5"),
        ("call", {"cells": 10**30}, "too large to keep"),
        ("magnification", {"value": 0}, "not a number from 0"),
        ("magnification", {"value": float("inf")}, "not finite"),
        ("magnification", {"value": float("nan")}, "not finite"),
        ("magnification", {"value": "40"}, 'value is "40"'),
        ("score", {"value": 1.5}, "value is 1.5"),
        ("note", {"text": "x" * 2001}, "at most 2,000 characters"),
        ("note", {"text": "a\0b"}, "a character that cannot be kept"),
        ("note", {"text": "\ud800"}, "a character that cannot be kept"),
        ("note", {"text": "x", "\udfff": 1}, "a character that cannot be kept"),
        ("finish", {"totals": [3]}, "totals is not a count for each organism"),
        ("finish", {"totals": {KEY: -1}}, "total is -1"),
        ("finish", {"totals": {"mites": 1}}, "something other than its key"),
        ("start", {"organisms": []}, "organisms is a list, not a list of 1 to"),
        ("start", {"organisms": [{"id": KEY, "scope": "half"}]}, "id, scope"),
        ("start", {"organisms": [{"id": KEY, "scope": "whole"}] * 2}, "twice"),
        ("start", {"organism_set": "0123"}, "12 hexadecimal digits"),
        ("start", {"seed": -1}, "seed is -1"),
        ("start", {"recount": 1}, "true or false"),
        ("start", {"wash_number": 100}, "from 1 to 99"),
        ("wash", {"bags": [KEY, KEY]}, "a bag is named twice"),
        # As text they would be two keys, and an address of the site takes small ones.
        ("wash", {"bags": [KEY, LARGE]}, "a list of a key (UUID) in small letters"),
        ("press", {"organism": LARGE}, "in small letters"),
        ("press", {"organism": "None"}, "not a key"),
        ("finish", {"totals": {LARGE: 1}}, "something other than its key"),
        ("wash", {"alcohol_percent": 101}, "from 0 to 100"),
        ("wash", {"washed_at": "yesterday"}, "a date and time with its zone"),
        ("collect", {"point": {"lon": 181, "lat": 0}}, "lon, lat, accuracy_m"),
        ("collect", {"point": {"lon": 10}}, "lon, lat, accuracy_m"),
        ("collect", {"collected_at": "2026-08-16T12:00:00"}, "with its zone"),
        ("photo", {"sha256": "A" * 64}, "64 hexadecimal digits"),
        ("photo", {"size_bytes": 10**9}, "size_bytes"),
        ("undo", {"event": 7}, "event is 7, not a key"),
    ],
)
def test_a_wrong_payload_is_refused_with_what_and_why(
    kind: str, changes: dict[str, Any], words: str
) -> None:
    refusal = _refusal(kind=kind, payload={**RIGHT[kind], **changes})
    assert words in refusal
    assert refusal.startswith(f"{kind} 1: ")
    assert refusal.endswith("do it again at the bench.")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kind": "wave"}, 'kind, "wave", is not known'),
        ({"kind": ["press"]}, "kind, a list, is not known"),
        ({"kind": None}, "kind, nothing, is not known"),
        ({"at": "16.8.2026"}, "set the device's clock"),
        ({"at": "2026-08-16T12:00:00"}, "set the device's clock"),
        ({"at": "+012026-08-16T12:00:00Z"}, "set the device's clock"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "set the device's clock"),
        ({"at": 1_786_881_600}, "set the device's clock"),
        ({"author": None}, "who did it"),
        ({"reading": None}, "reading is nothing, not a key"),
        ({"schema": 0}, "schema is 0"),
        ({"schema": True}, "schema is true"),
        ({"schema": "1"}, 'schema is "1"'),
        ({"payload": None}, "payload is nothing"),
        ({"payload": [1]}, "payload is a list"),
        ({"kind": "receive", "payload": {"bag": KEY}}, "stands beside readings"),
    ],
)
def test_a_wrong_event_is_refused_and_keeps_its_number(
    changes: dict[str, Any], words: str
) -> None:
    read = read_event(_event() | changes)
    assert isinstance(read, Told)
    assert words in read.refusal
    assert len(read.refusal) <= LONGEST_REFUSAL
    assert read.sequence == 1


@pytest.mark.parametrize("year", [1900, 1970, 2004, 2126, 2999])
def test_a_clock_that_is_off_by_years_refuses_nothing(year: int) -> None:
    assert _refusal(at=f"{year}-01-01T00:00:00Z") == ""


@pytest.mark.parametrize(
    "changes",
    [
        {"id": None},
        {"id": "7"},
        {"id": KEY.replace("-", "")},
        {"sequence": 0},
        {"sequence": -1},
        {"sequence": 1.0},
        {"sequence": True},
        {"sequence": "1"},
        {"sequence": 2**63},
        {"sequence": None},
    ],
)
def test_an_event_without_key_or_number_is_not_kept(changes: dict[str, Any]) -> None:
    read = read_event(_event(**changes))
    assert isinstance(read, Unkept)
    assert "not stored" in read.why
    assert not read.later


def test_n18_an_event_of_a_newer_page_is_kept_at_the_device_for_later() -> None:
    read = read_event(_event(schema=2, payload={"new": "words"}))
    assert isinstance(read, Unkept)
    assert read.later
    assert "have the site updated" in read.why


def test_n18_a_payload_may_have_8_000_bytes_and_no_more() -> None:
    room = LARGEST_PAYLOAD_BYTES - len('{"text":"x","more":""}')
    fits = {"text": "x", "more": "y" * room}
    assert _refusal(kind="note", payload=fits) == ""
    over = _refusal(kind="note", payload={**fits, "more": "y" * (room + 1)})
    assert "8,001 bytes, more than 8,000" in over
    # Counted in bytes, not characters.
    wide = _refusal(kind="note", payload={**fits, "more": "ÿ" * room})
    assert "more than 8,000" in wide


def test_a_payload_nested_too_deep_is_refused() -> None:
    deep: Any = 1
    for _ in range(900):
        deep = [deep]
    assert "nested more than 6 deep" in _refusal(payload={"organism": deep})


def test_what_a_payload_carries_besides_is_kept() -> None:
    read = read_event(_event(payload={**RIGHT["press"], "key": "f"}))
    assert isinstance(read, Told)
    assert (read.refusal, read.payload["key"]) == ("", "f")


def _batch(**changes: Any) -> dict[str, Any]:
    usual = {
        "schema": 1,
        "device": {"id": KEY, "name": "Window bench"},
        "sent_at": NOON,
        "unsent": 1,
        "oldest_unsent_at": NOON,
        "events": [_event()],
    }
    return {**usual, **changes}


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ([], "not a JSON object"),
        (None, "not a JSON object"),
        (_batch(schema=0), "schema is 0, not 1"),
        (_batch(schema=True), "schema is true, not 1"),
        (_batch(schema=None), "schema is nothing, not 1"),
        (_batch(events=None), "no list of events"),
        (_batch(events={"0": 1}), "no list of events"),
        (_batch(events=[_event()] * 501), "501 events; nothing was stored. Send at"),
        (_batch(device=None), "does not name its device"),
        (_batch(device={"id": 1}), "does not name its device"),
    ],
)
def test_a_batch_that_cannot_be_read_says_what_to_do(body: Any, words: str) -> None:
    with pytest.raises(BatchError, match=words):
        read_batch(body)


def test_a_batch_of_a_newer_page_says_so() -> None:
    with pytest.raises(NewerSchemaError, match="have the site updated"):
        read_batch(_batch(schema=2))


def test_what_a_batch_says_of_itself_wrongly_does_not_hold_its_events_up() -> None:
    batch = read_batch(
        _batch(
            sent_at="noon",
            unsent=-3,
            oldest_unsent_at=12,
            device={"id": KEY, "name": f"bench\0\n{'x' * 99}"},
        )
    )
    assert len(batch.events) == 1
    assert (batch.sent_at, batch.unsent, batch.oldest_unsent_at) == (None, 1, None)
    assert batch.name == f"bench{'x' * 55}"
    assert len(batch.words) == 3
    assert read_batch(_batch()).words == []


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inside: st.lists(inside) | st.dictionaries(st.text(), inside),
    max_leaves=12,
)


@given(
    kind=st.sampled_from(sorted(RIGHT)) | json_values,
    payload=json_values,
    field=st.sampled_from(["id", "sequence", "schema", "at", "author", "reading"]),
    value=json_values,
)
def test_whatever_an_event_holds_it_is_read_or_refused_in_words(
    kind: Any, payload: Any, field: str, value: Any
) -> None:
    told = {**_event(), "kind": kind, "payload": payload, field: value}
    read = read_event(told)
    if isinstance(read, Told):
        assert len(read.refusal) <= LONGEST_REFUSAL
        read.refusal.encode()
        read.written.encode()
        assert 1 <= len(read.kind) <= 20
    else:
        assert read.why


@given(kind=st.sampled_from(sorted(RIGHT)), data=st.data())
def test_whatever_a_field_holds_it_is_right_or_refused_in_words(
    kind: str, data: st.DataObject
) -> None:
    field = data.draw(st.sampled_from(sorted(RIGHT[kind])))
    wrong = why_not(kind, {**RIGHT[kind], field: data.draw(json_values)})
    assert isinstance(wrong, str)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (0, ""),
        (-300, ""),
        (301, "5 minutes ahead of the site's"),
        (-7200, "2 hours behind the site's"),
        (86_400 * 366, "1 year ahead of the site's"),
        (-86_400 * 365.25 * 22, "22 years behind the site's"),
    ],
)
def test_n03_a_clock_that_is_off_is_said_in_words(seconds: float, words: str) -> None:
    assert clock_words(seconds) == words


def test_a_span_is_said_in_its_largest_unit() -> None:
    assert [long_words(one) for one in (5, 60, 119, 3600, 86_399, 864_000)] == [
        "less than a minute", "1 minute", "2 minutes", "1 hour", "24 hours", "10 days",
    ]  # fmt: skip
