"""Every event is there once, in its device's order, whatever the network did."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from blocks.services.groups import add_member
from blocks.tenancy import stating
from monitoring.models import BenchDevice, BenchEvent
from tests.bench_devices import NOON, Device, Line, line
from tests.builders import Role, World, make_user

pytestmark = pytest.mark.django_db
MITES = uuid4()


@pytest.fixture
def lab(world: World) -> Line:
    return line(world)


@pytest.fixture
def device(world: World) -> Device:
    return Device(world.people["lab"])


def _rows(world: World) -> list[BenchEvent]:
    with stating(world.group.pk):
        return list(
            BenchEvent.objects.order_by("device", "sequence").select_related(
                "author", "sent_by"
            )
        )


def _seen(world: World, device: Device) -> BenchDevice:
    with stating(world.group.pk):
        found: BenchDevice = BenchDevice.objects.select_related("last_person").get(
            uuid=device.id
        )
        return found


def _pressed(device: Device, presses: int) -> Any:
    reading = device.start(MITES)
    for _ in range(presses):
        device.press(reading, MITES)
    return reading


def test_events_are_stored_as_told(world: World, lab: Line, device: Device) -> None:
    reading = _pressed(device, 2)
    answer = lab.send(device)
    assert [one["status"] for one in answer["results"]] == ["stored"] * 3
    assert [one["id"] for one in answer["results"]] == [
        one["id"] for one in device.events
    ]
    assert (answer["missing"], answer["complete_to"], answer["highest"]) == ([], 3, 3)
    rows = _rows(world)
    assert [row.kind for row in rows] == ["start", "press", "press"]
    assert {row.reading_uuid for row in rows} == {reading}
    assert rows[1].payload == {"organism": str(MITES), "place": "H7"}
    assert rows[1].device_at == NOON + timedelta(milliseconds=600)
    assert [one["id"] for one in answer["readings"]] == [str(reading)]


def test_n01_an_event_that_comes_again_is_known_and_stored_once(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 2)
    device.events[2]["payload"] = {"organism": "mites"}
    first = lab.send(device)["results"]
    assert [one["status"] for one in first] == ["stored", "stored", "refused"]
    for _ in range(2):
        again = lab.send(device)["results"]
        assert [one["status"] for one in again] == ["known", "known", "refused"]
        assert [one["why"] for one in again] == [one["why"] for one in first]
    assert len(_rows(world)) == 3


def test_n01_an_event_twice_in_one_batch_is_stored_once(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 1)
    other = {**device.events[1], "payload": {"organism": str(MITES), "place": "A1"}}
    batch = [device.events[0], device.events[1], device.events[1], other]
    results = lab.send(device, batch)["results"]
    assert [one["status"] for one in results] == ["stored", "stored", "known", "known"]
    assert results[2]["why"] == ""
    assert "differs" in results[3]["why"]
    assert len(_rows(world)) == 2


@pytest.mark.parametrize(
    "changes",
    [
        {"payload": {"organism": str(MITES), "place": "A1"}},
        {"kind": "note", "payload": {"text": "x"}},
        {"sequence": 9},
        {"at": "2026-08-16T13:00:00Z"},
        {"reading": str(uuid4())},
    ],
)
def test_n01_a_known_key_with_other_content_changes_nothing_and_is_told(
    world: World, lab: Line, device: Device, changes: dict[str, Any]
) -> None:
    _pressed(device, 1)
    lab.send(device)
    before = [(row.kind, row.sequence, row.payload) for row in _rows(world)]
    (result,) = lab.send(device, [{**device.events[1], **changes}])["results"]
    assert result["status"] == "known"
    assert "differs" in result["why"]
    assert [(row.kind, row.sequence, row.payload) for row in _rows(world)] == before


def test_n02_events_out_of_order_are_held_and_the_gap_is_asked_for(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 9)
    late = lab.send(device, [device.events[8], device.events[4], device.events[9]])
    assert [one["status"] for one in late["results"]] == ["held"] * 3
    assert "from number 1 on" in late["results"][0]["why"]
    assert late["missing"] == [[1, 4], [6, 8]]
    assert (late["complete_to"], late["highest"]) == (0, 10)
    some = lab.send(device, device.events[:4])
    assert [one["status"] for one in some["results"]] == ["stored"] * 4
    assert (some["missing"], some["complete_to"]) == ([[6, 8]], 5)
    rest = lab.send(device, device.events[5:8])
    assert (rest["missing"], rest["complete_to"]) == ([], 10)
    assert [row.sequence for row in _rows(world)] == list(range(1, 11))


def test_n02_at_most_fifty_gaps_are_asked_for_at_once(
    lab: Line, device: Device
) -> None:
    _pressed(device, 120)
    missing = lab.send(device, device.events[1::2])["missing"]
    assert missing == [[number, number] for number in range(1, 100, 2)]


def test_n02_a_reading_that_waited_for_a_gap_goes_on_when_it_closes(
    lab: Line, device: Device
) -> None:
    _pressed(device, 1)
    other = _pressed(device, 1)
    device.make("drop", other, why="spilt")
    told = lab.send(device, device.events[2:])["readings"]
    assert [(one["id"], one["state"]) for one in told] == [(str(other), "open")]
    told = lab.send(device, device.events[:2])["readings"]
    assert (str(other), "dropped") in [(one["id"], one["state"]) for one in told]


@pytest.mark.parametrize("years", [-22, -3, 2, 60])
def test_n03_a_clock_off_by_years_is_kept_as_claimed_and_told(
    world: World, lab: Line, device: Device, years: int
) -> None:
    device.now = timezone.now() + timedelta(days=365.25 * years)
    _pressed(device, 1)
    answer = lab.send(device)
    assert [one["status"] for one in answer["results"]] == ["stored"] * 2
    (words,) = answer["words"]
    side = "ahead of" if years > 0 else "behind"
    count = f"{abs(years)} years"
    assert f"clock is {count} {side} the site's" in words
    (_, press) = _rows(world)
    assert abs(press.device_at - device.now) < timedelta(milliseconds=1)
    assert abs(press.received_at - timezone.now()) < timedelta(minutes=1)
    ahead = _seen(world, device).clock_ahead_s
    assert ahead == pytest.approx(365.25 * 86_400 * years, abs=60)


def test_n03_a_clock_that_is_right_is_not_talked_about(
    lab: Line, device: Device
) -> None:
    device.now = timezone.now()
    _pressed(device, 1)
    assert lab.send(device)["words"] == []


def test_n03_the_order_is_that_of_the_numbers_not_of_the_clock(
    world: World, lab: Line, device: Device
) -> None:
    reading = device.start(MITES)
    first = device.press(reading, MITES, "A1")
    device.now -= timedelta(days=400)
    second = device.press(reading, MITES, "B2")
    lab.send(device)
    assert [str(row.uuid) for row in _rows(world)[1:]] == [first["id"], second["id"]]


def test_n04_five_thousand_events_go_in_ten_batches_and_may_break_off_anywhere(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 4999)
    batches = [device.events[at : at + 500] for at in range(0, 5000, 500)]
    begun = timezone.now()
    for batch in batches[:4]:
        lab.send(device, batch)
    # The answer to the fifth was lost: it is sent again, and the rest follows.
    lab.send(device, batches[4])
    for batch in batches[4:-1]:
        lab.send(device, batch)
    answer = lab.send(device, batches[-1])
    assert (timezone.now() - begun).total_seconds() < 10
    assert (answer["complete_to"], answer["missing"]) == (5000, [])
    assert [row.sequence for row in _rows(world)] == list(range(1, 5001))


def test_n04_more_than_500_events_at_once_are_refused_and_nothing_is_stored(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 500)
    answer = lab.post(device.batch())
    assert answer.status_code == 400
    assert "Send at most 500" in answer.json()["detail"]
    assert _rows(world) == []


def test_n05_someone_signed_out_is_told_to_sign_in_and_nothing_is_lost(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 1)
    answer = Line(world, Client()).post(device.batch())
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["type"] == "urn:washboard:problem:signed-out"
    assert lab.statuses(device) == ["stored"] * 2


def test_n05_an_old_pages_token_is_told_apart_from_a_role_that_may_not(
    world: World, device: Device
) -> None:
    _pressed(device, 1)
    client = Client(enforce_csrf_checks=True)
    client.force_login(world.people["lab"])
    stale = Line(world, client).post(device.batch())
    assert stale.status_code == 403
    assert stale.json()["type"] == "urn:washboard:problem:stale-token"
    for role in ("grower", "consultant"):
        refused = line(world, role).post(device.batch())
        assert refused.status_code == 403
        assert refused.json()["type"] == "about:blank"


def test_n06_two_benches_at_one_bag_keep_a_reading_each(
    world: World, lab: Line, device: Device
) -> None:
    bag, other = uuid4(), Device(world.people["coordinator"])
    mine, theirs = device.start(MITES, bag=bag), other.start(MITES, bag=bag)
    device.press(mine, MITES)
    other.press(theirs, MITES)
    assert lab.statuses(device) == ["stored"] * 2
    assert line(world, "coordinator").statuses(other) == ["stored"] * 2
    by_reading = {row.reading_uuid for row in _rows(world)}
    assert by_reading == {mine, theirs}


def test_n07_an_undo_that_comes_before_its_press_is_held_until_it_comes(
    world: World, lab: Line, device: Device
) -> None:
    reading = device.start(MITES)
    press = device.press(reading, MITES)
    device.undo(reading, press)
    results = lab.send(device, [device.events[0], device.events[2]])["results"]
    assert [one["status"] for one in results] == ["stored", "held"]
    assert "has not come yet" in results[1]["why"]
    answer = lab.send(device, [press])
    assert answer["results"][0]["status"] == "stored"
    assert answer["complete_to"] == 3
    assert [row.refusal for row in _rows(world)] == ["", "", ""]


def test_n07_an_undo_of_what_never_was_says_so(lab: Line, device: Device) -> None:
    reading = device.start(MITES)
    device.undo(reading, {"id": str(uuid4())})
    (_, undo) = lab.send(device)["results"]
    assert (undo["status"], "never came" in undo["why"]) == ("stored", True)


def test_n08_an_undo_of_another_devices_press_is_refused(
    world: World, lab: Line, device: Device
) -> None:
    other = Device(world.people["lab"])
    theirs = _pressed(other, 1)
    lab.send(other)
    mine = device.start(MITES)
    device.undo(mine, other.events[1])
    device.undo(theirs, other.events[1])
    results = lab.send(device)["results"]
    assert [one["status"] for one in results] == ["stored", "refused", "refused"]
    assert "an event of another device" in results[1]["why"]
    assert "begun at another device" in results[2]["why"]
    # They keep their numbers, so that the device has no gap.
    assert [row.sequence for row in _rows(world) if row.refusal] == [2, 3]


@pytest.mark.parametrize(
    ("target", "words"),
    [
        ("other reading", "another reading"),
        ("start", "names a start, which cannot be undone"),
        ("refused", "was refused and counts for nothing already"),
        ("later", "the device made later"),
    ],
)
@pytest.mark.parametrize("apart", [False, True])
def test_n08_an_undo_of_what_cannot_be_undone_is_refused(
    lab: Line, device: Device, target: str, words: str, *, apart: bool
) -> None:
    other = _pressed(device, 1)
    reading = device.start(MITES)
    wrong = device.press(reading, MITES, "nowhere")
    later = {"id": str(uuid4())}
    named = {
        "other reading": device.events[1],
        "start": device.events[2],
        "refused": wrong,
        "later": later,
    }[target]
    undo = device.undo(reading, named)
    device.press(reading, MITES)["id"] = later["id"]
    if apart:
        lab.send(device, [one for one in device.events if one is not undo])
    results = {one["id"]: one for one in lab.send(device)["results"]}
    assert results[undo["id"]]["status"] == "refused"
    assert words in results[undo["id"]]["why"]
    assert other


def test_a_reading_belongs_to_one_device_for_ever(
    world: World, lab: Line, device: Device
) -> None:
    reading = _pressed(device, 1)
    lab.send(device)
    other = Device(world.people["lab"])
    other.press(reading, MITES)
    (result,) = lab.send(other)["results"]
    assert result["status"] == "refused"
    assert "begin a reading of your own" in result["why"]


def test_n12_a_batch_whose_answer_was_lost_changes_nothing_when_sent_again(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 3)
    lab.send(device)
    before = [(row.pk, row.received_at) for row in _rows(world)]
    again = lab.send(device)
    assert [one["status"] for one in again["results"]] == ["known"] * 4
    assert (again["complete_to"], again["missing"]) == (4, [])
    assert [(row.pk, row.received_at) for row in _rows(world)] == before


def test_n17_each_event_keeps_its_author_beside_who_sent_it(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 1)
    device.person = world.people["coordinator"]
    device.make("note", uuid4(), text="mine")
    line(world, "coordinator").send(device)
    rows = _rows(world)
    assert [row.author for row in rows] == [
        world.people["lab"], world.people["lab"], world.people["coordinator"],
    ]  # fmt: skip
    assert {row.sent_by for row in rows} == {world.people["coordinator"]}
    assert _seen(world, device).last_person == world.people["coordinator"]


def test_n17_an_author_who_left_the_group_since_is_still_the_author(
    world: World, lab: Line, device: Device
) -> None:
    left = make_user("left")
    membership = add_member(
        world.group, user=left, role=Role.LAB, valid_from=date(2000, 1, 1)
    )
    with stating(world.group.pk):
        membership.valid_until = date(2026, 1, 1)
        membership.save()
    device.person = left
    _pressed(device, 1)
    assert lab.statuses(device) == ["stored"] * 2
    assert {row.author for row in _rows(world)} == {left}


def test_n17_an_author_who_never_had_a_part_in_the_group_is_refused(
    world: World, lab: Line, device: Device
) -> None:
    device.person = make_user("nobody here")
    _pressed(device, 1)
    results = lab.send(device)["results"]
    assert [one["status"] for one in results] == ["refused"] * 2
    assert "never had a part in this farm group" in results[0]["why"]
    assert [(row.author, row.sequence) for row in _rows(world)] == [
        (None, 1),
        (None, 2),
    ]


def test_n18_a_wrong_event_is_refused_and_the_others_go_on(
    world: World, lab: Line, device: Device
) -> None:
    reading = _pressed(device, 3)
    device.events[1]["payload"] = {"organism": str(MITES), "place": "x" * 9000}
    device.events[2] |= {"schema": 2}
    device.press(reading, MITES)["kind"] = "tampered"
    device.events.append("no event at all")  # type: ignore[arg-type]
    answer = lab.send(device)
    statuses = [one["status"] for one in answer["results"]]
    assert statuses == ["stored", "refused", "refused", "held", "refused", "refused"]
    assert "more than 8,000" in answer["results"][1]["why"]
    assert [one.get("later", False) for one in answer["results"]][1:3] == [False, True]
    # Only what the site cannot read yet leaves a gap, and is asked for again.
    assert answer["missing"] == [[3, 3]]
    rows = _rows(world)
    assert [(row.sequence, bool(row.refusal)) for row in rows] == [
        (1, False), (2, True), (4, False), (5, True),
    ]  # fmt: skip
    assert rows[1].payload == {}


def test_n18_a_number_far_above_the_devices_own_is_not_stored(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 1)
    device.events[1]["sequence"] = 10**12
    answer = lab.send(device)
    assert [one["status"] for one in answer["results"]] == ["stored", "refused"]
    assert "far above" in answer["results"][1]["why"]
    assert (answer["missing"], answer["highest"]) == ([], 1)


def test_a_copied_browsers_number_is_refused_with_what_to_do(
    world: World, lab: Line, device: Device
) -> None:
    reading = _pressed(device, 1)
    copy = Device(device.person, id=device.id, events=list(device.events))
    device.press(reading, MITES)
    copy.press(reading, MITES)
    assert lab.statuses(device) == ["stored"] * 3
    results = lab.send(copy)["results"]
    assert [one["status"] for one in results] == ["known", "known", "refused"]
    assert "begin anew under a key of its own" in results[2]["why"]
    assert results[2]["copied"] is True
    assert len(_rows(world)) == 3


def test_n19_what_a_device_still_held_is_kept_from_its_last_visit(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 9)
    since = "2026-08-16T09:00:00.000Z"
    body = device.batch(device.events[:4], unsent=10, oldest_unsent_at=since)
    assert lab.post(body).status_code == 200
    seen = _seen(world, device)
    assert (seen.unsent, seen.name) == (6, "Window bench")
    assert seen.oldest_unsent_at == NOON - timedelta(hours=3)
    assert seen.last_person == world.people["lab"]
    assert abs(seen.last_seen_at - timezone.now()) < timedelta(minutes=1)
    device.name = "Door bench"
    assert lab.post(device.batch(device.events[4:], unsent=6)).status_code == 200
    seen = _seen(world, device)
    assert (seen.unsent, seen.oldest_unsent_at) == (0, None)
    assert str(seen) == "Door bench"


def test_n19_what_waits_for_a_newer_site_is_still_at_the_device(
    world: World, lab: Line, device: Device
) -> None:
    _pressed(device, 3)
    device.events[2] |= {"schema": 2}
    assert lab.post(device.batch(unsent=4)).status_code == 200
    assert _seen(world, device).unsent == 1


def test_n19_a_visit_without_events_is_a_visit(
    world: World, lab: Line, device: Device
) -> None:
    answer = lab.send(device)
    assert (answer["results"], answer["missing"]) == ([], [])
    assert _seen(world, device).unsent == 0


def test_a_batch_of_500_takes_as_many_queries_as_one_of_50(
    lab: Line,
    device: Device,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    _pressed(device, 549)
    with django_assert_max_num_queries(40):
        lab.send(device, device.events[:50])
    with django_assert_max_num_queries(40):
        lab.send(device, device.events[50:])
