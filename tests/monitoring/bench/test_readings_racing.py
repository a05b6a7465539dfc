"""Benches, sheets and people that meet at the same moment: one after the other."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from blocks.access import member_for
from blocks.errors import ConflictError
from blocks.tenancy import stating
from monitoring.models import BenchReading, Tally
from monitoring.queries.bench_readings import reading_for
from monitoring.services.bench_deciding import Decision, decide, mark_of
from monitoring.sheets.publishing_lock import hold_publishing
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.meeting import at_once
from tests.monitoring.bench.benches import DAY, Bench, some_bags

pytestmark = pytest.mark.django_db(transaction=True, databases=["default", "owner"])
State = BenchReading.State


def _standing(world: World) -> list[tuple[int, int, bool]]:
    with stating(world.group.pk):
        rows = Tally.objects.filter(state="published")
        return [(row.wash.bag_id, row.reading, row.chosen) for row in rows]


def test_n06_two_benches_that_finish_bags_at_once_publish_each_once(
    world: World,
) -> None:
    """Four bags, in opposite orders: nobody waits for the other for ever."""
    bags = some_bags(world, 4)
    benches = [Bench(world), Bench(world, role="coordinator")]
    keys = [benches[0].count(bag, 5) for bag in bags] + [
        benches[1].count(bag, 7) for bag in reversed(bags)
    ]
    answers = at_once(*(bench.send for bench in benches))
    assert len(answers) == 2
    states = [benches[0].reading(key).state for key in keys]
    assert sorted(states) == [State.PUBLISHED] * 4 + [State.WAITING] * 4
    assert sorted(_standing(world)) == sorted((bag.pk, 1, True) for bag in bags)


def test_n12_one_batch_sent_twice_at_once_publishes_once(world: World) -> None:
    bench = Bench(world)
    key = bench.count(some_bags(world)[0], 5)
    events = list(bench.unsent)
    at_once(lambda: bench.send(events), lambda: bench.send(events))
    assert bench.reading(key).state == State.PUBLISHED
    assert len(_standing(world)) == 1


def test_n09_a_sheet_published_at_the_same_moment_leaves_one_first_reading(
    world: World,
) -> None:
    bag = some_bags(world)[0]
    bench, desk = Bench(world), Desk(world)
    key = bench.count(bag, 5)
    row = bag_row(bag=bag.code, collected_on=DAY, washed_on="", symptoms="",
                  rust_mites=9, predatory_mites="", thrips="")  # fmt: skip
    sheet = desk.upload(bag_sheet(row))
    assert len(at_once(bench.send, lambda: desk.publish(sheet))) == 2
    # Where the sheet was under way, the reading is looked at at the next visit.
    bench.send([])
    with stating(world.group.pk):
        sheet.refresh_from_db()
    state = bench.reading(key).state
    assert _standing(world) == [(bag.pk, 1, True)]
    if sheet.state == "published":
        assert state == State.WAITING
    else:
        # Checked again, it asks what its other count is.
        assert state == State.PUBLISHED
        assert desk.work(sheet).state == "checked"
        assert sheet.summary["changed"] == 1


def test_n09_while_a_sheet_is_published_a_reading_waits_without_holding_it_up(
    world: World,
) -> None:
    bench = Bench(world)
    first, second = some_bags(world, 2)
    bench.count(first, 5)
    again = bench.count(first, 6)
    bench.send()
    key = bench.count(second, 7)
    seen = mark_of(bench.reading(again))
    answers: list[Any] = []

    def elsewhere() -> None:
        answers.append(bench.send())
        with pytest.raises(ConflictError, match="sheet is being published"):
            _decide(world, bench, again, seen)

    with transaction.atomic():
        hold_publishing(world.group.pk)
        assert at_once(elsewhere) == [None]
    told = {one["id"]: one for one in answers[0]["readings"]}
    assert told[key]["state"] == "open"
    assert "once the count sheet" in told[key]["why"]
    later = {one["id"]: one for one in bench.send([])["readings"]}
    assert later[key]["state"] == "published"


def _decide(world: World, bench: Bench, key: str, seen: str) -> None:
    with transaction.atomic():
        member = member_for(world.people["lab"], world.slug)
        found = reading_for(member, bench.reading(key).uuid)
        decision = Decision(choice="recount", now=timezone.now(), seen=seen)
        decide(member, found, decision)


def test_of_two_people_who_decide_at_once_one_is_told(world: World) -> None:
    bag = some_bags(world)[0]
    bench = Bench(world)
    bench.count(bag, 5)
    key = bench.count(bag, 7)
    bench.send()
    seen = mark_of(bench.reading(key))

    def choose(role: str, choice: Any) -> Callable[[], Any]:
        def work() -> Any:
            with transaction.atomic():
                member = member_for(world.people[role], world.slug)
                found = reading_for(member, bench.reading(key).uuid)
                decision = Decision(
                    choice=choice, now=timezone.now(), seen=seen, why="so it is"
                )
                return decide(member, found, decision)

        return work

    done = at_once(
        choose("lab", "set_aside"),
        choose("coordinator", "recount"),
        refused=ConflictError,
    )
    assert sum(isinstance(one, ConflictError) for one in done) == 1
    assert len(done) == 2
    reading = bench.reading(key)
    kept_beside = reading.state == State.PUBLISHED
    assert len(_standing(world)) == 1 + kept_beside
