"""If a device is lost, what can be lost with it is known and shown."""

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import transaction
from django.template.loader import render_to_string
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from blocks.access import Member, member_for
from monitoring.pages.bench_devices import device_lines
from tests.bench_devices import Device, line
from tests.builders import World

pytestmark = pytest.mark.django_db
MITES = uuid4()


def _pressed(world: World, name: str, *, presses: int = 4) -> Device:
    device = Device(world.people["lab"], name=name, now=timezone.now())
    reading = device.start(MITES)
    for _ in range(presses):
        device.press(reading, MITES)
    return device


def _member(world: World) -> Member:
    return member_for(world.people["lab"], world.slug)


def _page(member: Member) -> str:
    partial = "monitoring/partials/bench_devices.html"
    lines = device_lines(member)
    return " ".join(
        render_to_string(partial, {"devices": lines, "member": member}).split()
    )


def test_n19_each_device_tells_when_it_came_and_what_it_still_held(
    world: World,
) -> None:
    lab, device = line(world), _pressed(world, "Window bench")
    since = (timezone.now() - timedelta(days=3)).isoformat()
    events = device.batch(device.events[:2], unsent=1205, oldest_unsent_at=since)
    assert lab.post(events).status_code == 200
    with transaction.atomic():
        page = _page(_member(world))
    assert "Window bench" in page
    assert world.people["lab"].name in page
    assert "1,203 events, the oldest of" in page
    assert "<td>nothing</td>" in page


def test_n19_a_gap_tells_how_many_are_missing_and_how_many_wait(
    world: World,
) -> None:
    device = _pressed(world, "")
    line(world).send(device, [device.events[0], device.events[3], device.events[4]])
    with transaction.atomic():
        (seen,) = device_lines(_member(world))
        page = _page(_member(world))
    assert (seen.device.missing, seen.device.held) == (2, 2)
    assert f"device {str(device.id)[:8]}" in page
    assert "2 events</span>; 2 later ones wait for them" in page


def test_n03_a_clock_that_is_off_stands_beside_its_device(world: World) -> None:
    device = _pressed(world, "Door bench")
    device.now -= timedelta(days=365.25 * 3)
    line(world).send(device)
    with transaction.atomic():
        page = _page(_member(world))
    assert "clock 3 years behind the site&#x27;s" in page


def test_without_devices_the_page_says_what_to_do(world: World) -> None:
    with transaction.atomic():
        assert "No device has sent anything yet" in _page(_member(world))


def test_devices_of_one_group_are_listed_newest_first_in_one_query(
    make_world: Callable[..., World],
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    mine, theirs = make_world("Canary"), make_world("Magpie")
    line(theirs).send(_pressed(theirs, "Magpie bench"))
    for number in range(3):
        line(mine).send(_pressed(mine, f"bench {number}"))
    with transaction.atomic():
        member = _member(mine)
        with django_assert_num_queries(1):
            names = [
                f"{one.device} {one.device.last_person.name}"
                for one in device_lines(member)
            ]
    person = mine.people["lab"].name
    assert names == [f"bench {number} {person}" for number in (2, 1, 0)]
