"""Whatever is sent to the bench's address is answered in words, never with a 500."""

import json
from time import process_time
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blocks.tenancy import stating
from monitoring.models import BenchEvent
from tests.bench_devices import Device, Line, line
from tests.builders import World

pytestmark = pytest.mark.django_db
MITES = uuid4()
PROBLEM = "application/problem+json"


@pytest.fixture
def lab(world: World) -> Line:
    return line(world)


@pytest.fixture
def device(world: World) -> Device:
    device = Device(world.people["lab"])
    device.press(device.start(MITES), MITES)
    return device


def _stored(world: World) -> int:
    with stating(world.group.pk):
        return int(BenchEvent.objects.count())


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "schema is nothing, not 1"),
        (b"{", "not JSON"),
        (b'{"schema": 1,\n "events": [}', "line 2, column 13"),
        (b"\xff\xfe{}", "not UTF-8 from byte 1 on"),
        (b'{"schema": NaN}', "NaN, which is not a number in JSON"),
        (b'{"schema": -Infinity}', "-Infinity, which is not a number in JSON"),
        (b'{"schema": 1, "schema": 2}', "names 'schema' twice"),
        (b'{"schema": 1' + b"0" * 5000 + b"}", "a number that is too long"),
        (b"[" * 100_000 + b"]" * 100_000, "nested too deep"),
        (b'"\\ud800"', "not a JSON object"),
        (b"null", "not a JSON object"),
        (b"7", "not a JSON object"),
        (b"{}", "schema is nothing, not 1"),
    ],
)
def test_a_body_that_cannot_be_read_is_a_400_with_where_and_why(
    world: World, lab: Line, body: bytes, words: str
) -> None:
    answer = lab.post(body)
    assert answer.status_code == 400, answer.content
    assert answer["Content-Type"] == PROBLEM
    assert words in answer.json()["detail"]
    assert _stored(world) == 0


def test_a_name_that_stands_twice_in_an_event_refuses_the_whole_batch(
    world: World, lab: Line, device: Device
) -> None:
    body = json.dumps(device.batch()).replace(
        '"kind": "press"', '"kind": "x", "kind": "press"'
    )
    answer = lab.post(body.encode())
    assert answer.status_code == 400
    assert "'kind' twice" in answer.json()["detail"]
    assert _stored(world) == 0


def test_a_name_that_stands_twice_among_very_many_is_found_at_once(lab: Line) -> None:
    names = ",".join(f'"{number}":0' for number in [*range(90_000), 89_999])
    begun = process_time()
    answer = lab.post(f"{{{names}}}".encode())
    assert process_time() - begun < 10
    assert answer.status_code == 400
    assert "'89999' twice" in answer.json()["detail"]


def test_a_body_of_more_than_a_million_bytes_is_a_413(
    world: World, lab: Line, device: Device
) -> None:
    body = json.dumps(device.batch()).encode()
    fits = body + b" " * (1_000_000 - len(body))
    answer = lab.post(fits + b" ")
    assert answer.status_code == 413
    assert answer["Content-Type"] == PROBLEM
    assert "Send it in smaller parts" in answer.json()["detail"]
    assert _stored(world) == 0
    assert lab.post(fits).status_code == 200


def test_another_kind_of_content_is_a_415(lab: Line, device: Device) -> None:
    body = json.dumps(device.batch())
    answer = lab.client.post(lab.url, body, content_type="text/plain")
    assert answer.status_code == 415


@pytest.mark.parametrize("method", ["get", "put", "patch", "delete"])
def test_another_method_is_a_405(lab: Line, method: str) -> None:
    answer = getattr(lab.client, method)(lab.url)
    assert answer.status_code == 405
    assert "POST" in answer["Allow"]


def test_numbers_without_bounds_in_json_reach_no_column(
    world: World, lab: Line, device: Device
) -> None:
    body = json.dumps(device.batch()).replace('"sequence": 2', '"sequence": 1e400')
    (_, result) = lab.post(body.encode()).json()["results"]
    assert result["status"] == "refused"
    assert _stored(world) == 1


json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
    | st.sampled_from(["\0", "\ud800", "1e999", "press", 2**63, -1]),
    lambda inside: (
        st.lists(inside, max_size=4)
        | st.dictionaries(st.text(max_size=6), inside, max_size=4)
    ),
    max_leaves=8,
)
BATCH_FIELDS = ["schema", "device", "sent_at", "unsent", "oldest_unsent_at", "events"]
EVENT_FIELDS = [
    "id", "sequence", "schema", "kind", "at", "author", "reading", "payload",
]  # fmt: skip
usual = settings(
    max_examples=80,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def _check(answer: Any) -> None:
    assert answer.status_code in {200, 400}, answer.content
    if answer.status_code == 400:
        assert answer["Content-Type"] == PROBLEM
        assert answer.json()["detail"]


@usual
@given(field=st.sampled_from(BATCH_FIELDS), value=json_values)
def test_whatever_a_batch_says_of_itself_the_answer_is_no_500(
    lab: Line, device: Device, field: str, value: Any
) -> None:
    _check(lab.post({**device.batch(), field: value}))


@usual
@given(field=st.sampled_from(EVENT_FIELDS), value=json_values, which=st.integers(0, 1))
def test_whatever_an_event_says_the_other_one_is_stored(
    world: World, lab: Line, field: str, value: Any, which: int
) -> None:
    device = Device(world.people["lab"])
    device.press(device.start(MITES), MITES)
    device.events[which][field] = value
    answer = lab.post(device.batch())
    _check(answer)
    results = answer.json()["results"]
    assert len(results) == 2
    assert results[1 - which]["status"] in {"stored", "held"}
    assert all(one["why"] for one in results if one["status"] in {"held", "refused"})
