"""The pages of readings: what they show, what they cost, and the ways back to them."""

from dataclasses import replace
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import Bag, Density
from monitoring.queries.bench_readings import MOST_SHOWN, totals_to_do
from monitoring.words import figure, interval
from tests.builders import World
from tests.monitoring.bench.benches import Bench, page_of, some_bags

pytestmark = pytest.mark.django_db


def test_both_counts_stand_side_by_side_with_how_far_they_are_apart(
    bench: Bench, bag: Bag, world: World
) -> None:
    other = Bench(world, role="coordinator")
    bench.count(bag, 100)
    second = other.count(bag, 130)
    bench.send()
    other.send()
    text = page_of(world, second)
    # 30 over the mean of 115; 30 over the root of 230.
    assert "+26 %, z +2.0; Poisson intervals overlap" in text
    # Exact limits by SciPy's chi-square: 100 and 130.
    assert "81 to 120; 110 to 150" in text
    todo = world.client("lab").get(world.url("bench/todo/")).content.decode()
    assert "1 reading waits for a decision" in todo
    assert "+26 %, z +2.0" in todo
    assert "1 reading from the bench waits" in " ".join(
        world.client("lab").get(world.url("bags/")).content.decode().split()
    )


def test_the_page_shows_places_what_was_undone_and_what_is_odd(
    bench: Bench, bag: Bag, world: World
) -> None:
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.press(reading, "rust_mites", "H7", 3)
    bench.act("undo", reading, event=bench.press(reading, "rust_mites", "H7"))
    bench.act("read", reading, **{"pass": "cells", "place": "H7"})
    bench.act("skip", reading, **{"pass": "cells", "place": "C4", "why": "glare"})
    bench.press(reading, "rust_mites", "D5")
    bench.act("note", reading, text="<b>dust</b> {{ 7 }}")
    bench.finish(reading, "tired", rust_mites=3)
    bench.press(reading, "rust_mites", "H7")
    bench.send()
    text = page_of(world, reading)
    assert "press, rust mites, H7" in text
    assert "skipped: glare" in text
    assert "not read to its end, not counted" in text
    assert "presses in places neither read nor skipped: 1" in text
    assert "press after the end" in text
    assert "&lt;b&gt;dust&lt;/b&gt; {{ 7 }}" in text


def test_numbers_lead_back_to_the_reading(bench: Bench, bag: Bag, world: World) -> None:
    """From the bag, its round, its tally and its density's working."""
    reading = bench.count(bag, 5)
    bench.send()
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(organism__code="rust_mites")
    (tally,) = bench.tallies(reading)
    link = world.url(f"bench/todo/{reading}/")
    for path in (
        f"bags/{bag.uuid}/",
        f"tallies/{tally.uuid}/",
        f"densities/{density.uuid}/",
    ):
        text = " ".join(
            world.client("lab").get(world.url(path)).content.decode().split()
        )
        assert f'<a href="{link}">counted at the bench</a>' in text, path
        assert "on 15 Aug 2026" in text, path
        shown = world.client("consultant").get(world.url(path)).content.decode()
        assert "counted at the bench" in shown
        assert link not in shown
    assert (
        world.client("lab").get(world.url(f"rounds/{bag.round.uuid}/")).status_code
        == 200
    )


def test_a_bags_page_tells_of_readings_that_wait(
    bench: Bench, bag: Bag, world: World
) -> None:
    bench.count(bag, 5)
    second = bench.count(bag, 6)
    third = bench.start(bag, recount=True)
    bench.send()
    path = world.url(f"bags/{bag.uuid}/")
    text = world.client("lab").get(path).content.decode()
    for key, words in ((second, "waits for a person"), (third, "is being counted")):
        assert f'<a href="{world.url(f"bench/todo/{key}/")}">{words}' in text
    assert second not in world.client("consultant").get(path).content.decode()


def test_counters_show_blind_recounts_of_the_bench(
    bench: Bench, bag: Bag, world: World
) -> None:
    bench.count(bag, 25)
    bench.send()
    other = Bench(world, role="coordinator")
    second = other.count(bag, 30, recount=True, blind=True)
    other.send()
    text = " ".join(
        world.client("lab")
        .get(world.url("laboratory/counters/"))
        .content.decode()
        .split()
    )
    assert (
        f'<a href="{world.url(f"bench/todo/{second}/")}">counted at the bench</a>'
        in text
    )
    assert "blind, 40 times magnified" in text


def test_two_stage_working_is_shown_with_its_steps(
    bench: Bench, bag: Bag, world: World
) -> None:
    counts = [9, 12, 7, 10, 14, 8, 11, 9, 13, 10, 10, 8, 12, 9, 11, 10, 7, 13, 9, 10]
    reading = bench.start(bag, organisms={"rust_mites": "cells"})
    bench.act("call", reading, cells=20)
    bench.read_cells(reading, "rust_mites", counts)
    bench.finish(reading, rust_mites=sum(counts))
    bench.send()
    (tally,) = bench.tallies(reading)
    answer = world.client("grower").get(world.url(f"tallies/{tally.uuid}/"))
    text = " ".join(answer.content.decode().split())
    assert "103 in 10 cells" in text
    assert "99 in 10 cells" in text
    assert f"<dt>Animals in the dish</dt><dd>{tally.animals_in_dish:.1f}<br>" in text
    assert "unbiased whatever the first cells decided" in text
    # The reading's page tells the same, with the interval that the bench was given.
    url = world.url(f"bench/readings/{reading}/figure/")
    (mites,) = world.client("lab").get(url).json()["organisms"]
    within = interval(mites["low"], mites["high"])
    told = f"about {figure(tally.animals_in_dish)} ({within})"
    assert f"Published: {told} rust mites in the dish." in page_of(world, reading)
    assert f"{told} in the dish" in mites["words"]


def test_lists_cost_the_same_however_many_wait(bench: Bench, world: World) -> None:
    client = world.client("lab")
    numbers = []
    for _ in range(2):
        bag = some_bags(world)[0]
        for mites in (1, 2, 3):
            bench.count(bag, mites)
        bench.count(str(uuid4()), 3)
        bench.start(bag)
        bench.send()
        client.get(world.url("bench/todo/"))
        with CaptureQueriesContext(connection) as queries:
            assert client.get(world.url("bench/todo/")).status_code == 200
        numbers.append(len(queries))
    assert numbers[0] == numbers[1]
    assert numbers[0] <= 18
    assert MOST_SHOWN >= 100


def test_a_readings_page_costs_the_same_however_many_presses(
    bench: Bench, world: World
) -> None:
    client, numbers = world.client("lab"), []
    for presses in (3, 300):
        reading = bench.count(some_bags(world)[0], presses)
        bench.send()
        with CaptureQueriesContext(connection) as queries:
            assert client.get(world.url(f"bench/todo/{reading}/")).status_code == 200
        numbers.append(len(queries))
    assert numbers[0] == numbers[1]
    assert numbers[0] <= 16


def test_totals_count_what_the_lists_may_show(
    bench: Bench, bag: Bag, world: World
) -> None:
    for mites in (1, 2):
        bench.count(bag, mites)
    bench.count(str(uuid4()), 3)
    bench.send()
    elsewhere = replace(bench.member, farm_ids=frozenset())
    with stating(world.group.pk):
        assert totals_to_do(bench.member)["waiting"] == 1
        assert totals_to_do(elsewhere) == {"waiting": 0, "quarantined": 1, "open": 0}
