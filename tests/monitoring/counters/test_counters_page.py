"""The page of the counters: agreement, the standard, drift, and who may see it."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.models import AgreementStandard, Tally
from tests.builders import World
from tests.desks import Desk
from tests.monitoring.counters.recounts import Read, recount_sheet, twice

pytestmark = pytest.mark.django_db

FIRST = [12, 40, 95, 3, 160, 70, 22, 8, 51, 130, 33, 64]
SECOND = [11, 43, 90, 3, 171, 66, 24, 7, 55, 122, 36, 60]


def _people(world: World) -> tuple[str, str]:
    return world.people["lab"].name, world.people["coordinator"].name


def _publish(desk: Desk, readings: list[Read], name: str = "recounts.csv") -> None:
    sheet = desk.publish(desk.upload(recount_sheet(readings), name))
    assert sheet.state == "published", [one.sentence for one in desk.findings(sheet)]


def _page(world: World, role: str = "lab", path: str = "", **query: str) -> str:
    answer = world.client(role).get(
        world.url(f"laboratory/counters/{path}"), query or None
    )
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def _state(world: World, **values: Any) -> Any:
    usual = {
        "least_concordance": 0.9,
        "widest_ratio": 1.5,
        "valid_from": "2026-01-01",
        "note": "",
    }
    return world.client("coordinator").post(
        world.url("laboratory/counters/standard/"), usual | values
    )


def test_nothing_is_estimated_from_too_few(desk: Desk, world: World) -> None:
    assert "No dish of rust mites on leaves was counted by two people" in _page(world)
    _publish(desk, twice(FIRST[:9], SECOND[:9], people=_people(world)))
    text = _page(world)
    assert "9 dishes of rust mites on leaves were counted by two people" in text
    assert "nothing is estimated from fewer than 10" in text
    assert "limit of agreement" not in text.lower()
    # The pairs themselves are there to be looked at.
    assert text.count("two counters</td>") == 9


def test_agreement_is_told_with_intervals_and_a_way_back(
    desk: Desk, world: World
) -> None:
    people = _people(world)
    _publish(desk, twice(FIRST, SECOND, people=people))
    text = _page(world)
    # By NumPy on log10(x + 1): mean -0.00207, sd 0.03292, so 0.8579 to 1.1546 times.
    assert "12 dishes were counted by two people" in text
    assert "lie between 0.86 and 1.15 times the first" in text
    # 2 cov / (var + var + gap ** 2) of the same, by NumPy: 0.99773.
    assert "<dt>Concordance</dt><dd>0.998 (0.99" in text
    with stating(world.group.pk):
        tally = Tally.objects.filter(reading=2).select_related("wash__bag__round")[0]
    bag = tally.wash.bag
    assert f"rounds/{bag.round.uuid}/#bag-{bag.uuid}" in text
    assert f"sheets/{tally.source_sheet.uuid}/" in text
    assert people[0] in text
    rounds = world.client("lab").get(world.url(f"rounds/{bag.round.uuid}/"))
    assert f'id="bag-{bag.uuid}"' in rounds.content.decode()


def test_parts_of_dishes_are_compared_as_whole_dishes_and_said_so(
    desk: Desk, world: World
) -> None:
    people = _people(world)
    readings = twice(FIRST, SECOND, people=people)
    # The dish of 150 mm has 208 cells: 18 in 52 of them stand for 72.
    readings[11] = Read(6, 2, people[1], 18, cells="52")
    _publish(desk, readings)
    text = _page(world)
    assert "18 in 52 cells: 72 in the dish" in text
    assert "In 1 of these dishes one looked at the whole dish" in text
    assert "unequal parts" in text
    # 73 over 71.
    assert '<td class="number">1.03<br>' in text
    assert "Both looked at the whole dish" in text
    assert "11 dishes" in text


def test_the_same_counter_and_the_nameless_are_kept_apart(
    desk: Desk, world: World
) -> None:
    me, other = _people(world)
    readings = twice(FIRST[:10], SECOND[:10], people=(me, other))
    readings += [Read(20, 1, me, 50), Read(20, 2, me, 90)]
    readings += [Read(21, 1, me, 50), Read(21, 2, "", 5)]
    _publish(desk, readings)
    text = _page(world)
    assert "10 dishes were counted by two people" in text
    assert "1 by the same counter twice" in text
    assert "1 where the sheet does not say who counted" in text
    assert "1 dish: fewer than 10, not estimated" in text


def test_superseded_and_uncountable_readings_are_no_pairs(
    desk: Desk, world: World
) -> None:
    people = _people(world)
    _publish(desk, twice([12, 30], [11, 31], people=people))
    corrected = twice([12, 30], [19, 31], people=people)
    sheet = desk.upload(recount_sheet(corrected), "corrected.csv")
    sheet = desk.publish(desk.answer(sheet, changed="correction", reason="misread"))
    assert sheet.state == "published"
    unclear = [Read(3, 1, people[0], 9), Read(3, 2, people[1], "uncountable")]
    _publish(desk, unclear, "unclear.csv")
    text = _page(world)
    assert text.count("two counters</td>") == 2
    assert '<td class="number">1.54' in text  # 20 over 13


def test_three_who_read_the_same_dishes_have_an_intraclass_correlation(
    desk: Desk, world: World
) -> None:
    me, other = _people(world)
    third = "Third Reader"
    readings = twice(FIRST, SECOND, people=(me, other))
    readings += [Read(bag, 3, third, n + 1) for bag, n in enumerate(FIRST, 1)]
    _publish(desk, readings)
    text = _page(world)
    assert "Intraclass correlation" in text
    assert "absolute agreement, ICC(2,1)" in text
    assert "12 dishes<br>" in text
    # Each dish gives one pair only, however many read it.
    assert "12 dishes were counted by two people" in text


def test_a_drifting_counter_is_named(desk: Desk, world: World) -> None:
    people = _people(world)
    start = date(2026, 6, 1)
    days = [(start + timedelta(days=4 * i)).isoformat() for i in range(20)]
    first = [100 + 3 * (i % 5) for i in range(20)]
    second = [round(n * 10 ** (0.012 * i)) for i, n in enumerate(first)]
    _publish(desk, twice(first, second, people=people, days=days))
    text = _page(world)
    assert f"Look at the drift of {people[1]} and {people[0]}" in text or (
        f"Look at the drift of {people[0]} and {people[1]}" in text
    )
    assert "beyond its limits now" in text
    assert "first beyond them on" in text
    assert "figure-drift" in text
    # 10 ** (0.003 * 100) is 1.995, less a little for the one added to each count.
    grown = re.findall(r"<td>(\d\.\d\d) times \(", text)
    grown_sorted = sorted(float(one) for one in grown)
    assert grown_sorted[0] == pytest.approx(1 / 1.98, abs=0.01)
    assert grown_sorted[-1] == pytest.approx(1.98, abs=0.02)


def test_the_standard_is_held_against_the_interval(desk: Desk, world: World) -> None:
    assert "no standard" in _page(world)
    _publish(desk, twice(FIRST, SECOND, people=_people(world)))
    assert _state(world).status_code == 302
    text = _page(world)
    assert "The standard asked for since 1 January 2026 is met" in text
    assert "Concordance at least 0.9: <span" in text
    # The limits are 0.86 and 1.15; their intervals reach beyond 1.2.
    _state(world, widest_ratio=1.2, valid_from="2026-02-01")
    assert "since 1 February 2026 is not settled" in _page(world)
    _state(world, widest_ratio=1.05, valid_from="2026-03-01")
    assert "since 1 March 2026 is not met" in _page(world)
    # A standard of a day to come is not in force yet; all of them are kept.
    _state(world, valid_from="2099-01-01")
    assert "since 1 March 2026 is not met" in _page(world)
    stated = _page(world, "coordinator", "standard/")
    assert "1 February 2026" in stated
    with stating(world.group.pk):
        assert AgreementStandard.objects.count() == 4


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"least_concordance": 1.0}, "less than or equal to 0.99"),
        ({"least_concordance": "nan"}, "Enter a number"),
        ({"least_concordance": ""}, "required"),
        ({"widest_ratio": 1}, "greater than or equal to 1.01"),
        ({"widest_ratio": 1000}, "less than or equal to 100"),
        ({"valid_from": "soon"}, "valid date"),
        ({"note": "x" * 301}, "at most 300"),
    ],
)
def test_a_standard_that_cannot_be_is_refused_in_words(
    world: World, change: dict[str, Any], words: str
) -> None:
    answer = _state(world, **change)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    with stating(world.group.pk):
        assert not AgreementStandard.objects.exists()


def test_odd_wishes_are_taken_as_the_usual_ones(desk: Desk, world: World) -> None:
    _publish(desk, twice(FIRST, SECOND, people=_people(world)))
    for query in (
        {"organism": "gnomes", "tissue": "root", "year": "x"},
        {"year": "99999999999999999999"},
        {"organism": "\x00", "tissue": "'", "year": "-1"},
    ):
        assert "12 dishes were counted" in _page(world, "lab", **query)
    assert "No dish of thrips" in _page(world, "lab", organism="thrips")
    assert "No dish of rust mites on buds" in _page(world, "lab", tissue="bud")
    assert "12 dishes were counted" in _page(world, "lab", year="2026")


def test_dishes_that_are_all_alike_are_told_in_words(desk: Desk, world: World) -> None:
    nothing = [0] * 12
    _publish(desk, twice(nothing, nothing, people=_people(world)))
    text = _page(world)
    assert "cannot be told: one of the readings is the same in every dish" in text
    assert "nothing found in 12" in text
    same = twice(FIRST, FIRST, people=_people(world))
    later = [Read(r.bag, r.reading, r.analyst, r.mites, day="2026-08-20") for r in same]
    _publish(desk, later, "same.csv")
    assert "two people: both readings were the same in every dish." in _page(world)
    # 24 dishes alike are no proof that 95 in 100 are: that takes 59 (Wilks 1941).
    _state(world)
    assert "since 1 January 2026 is not settled" in _page(world)
    more = [
        Read(r.bag, r.reading, r.analyst, r.mites, day=f"2026-09-0{day}")
        for r in same
        for day in range(1, 4)
    ]
    _publish(desk, more, "more.csv")
    assert "since 1 January 2026 is met" in _page(world)


def test_growers_and_consultants_see_no_counters_figures(world: World) -> None:
    for role in ("grower", "consultant"):
        for path in ("counters/", "counters/standard/", "blanks/"):
            answer = world.client(role).get(world.url(f"laboratory/{path}"))
            assert answer.status_code == 403
    assert (
        world.client("lab")
        .post(world.url("laboratory/counters/standard/"), {})
        .status_code
        == 403
    )


def test_the_page_makes_few_queries(desk: Desk, world: World) -> None:
    _publish(desk, twice(FIRST, SECOND, people=_people(world)))
    client = world.client("lab")
    with CaptureQueriesContext(connection) as queries:
        client.get(world.url("laboratory/counters/"))
    asked = [one for one in queries.captured_queries if one["sql"].startswith("SELECT")]
    # Session, person, membership and what states the group, and five of its own.
    assert len(asked) <= 13
