"""Many bags of a round take a step at once: all that were ticked, or none."""

from typing import Any

import pytest

from blocks.tenancy import stating
from monitoring.models import Bag, BagStep, Round
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bags.bench import DAY, Bench

pytestmark = pytest.mark.django_db
NUMBERS = {"upper": 4, "mid": 8}


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


@pytest.fixture
def bags(bench: Bench) -> list[Bag]:
    return bench.make(numbers=NUMBERS)


def _url(bag: Bag, query: str = "") -> str:
    return f"rounds/{bag.round.uuid}/bags/move/{query}"


def _text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def _keys(bags: list[Bag]) -> list[str]:
    return [str(bag.uuid) for bag in bags]


def _ways(bench: Bench) -> list[str]:
    with stating(bench.world.group.pk):
        return list(Bag.objects.order_by("pk").values_list("way", flat=True))


def test_ticked_bags_take_the_step_and_the_others_stay(
    bench: Bench, bags: list[Bag]
) -> None:
    answer = bench.post(
        _url(bags[0]), bags=_keys(bags[:5]), way="collected", note="by the gate"
    )
    assert answer["Location"] == bench.world.url(_url(bags[0]))
    assert _ways(bench) == ["collected"] * 5 + ["planned"] * 7
    with stating(bench.world.group.pk):
        steps = BagStep.objects.filter(way="collected")
        assert set(steps.values_list("note", "noted_by__name")) == {
            ("by the gate", bench.world.people["lab"].name)
        }
        assert steps.count() == 5
    client = bench.world.client("lab")
    url = bench.world.url(_url(bags[0]))
    client.post(url, {"bags": _keys(bags[5:6]), "way": "collected"})
    assert "1 bag is collected now." in _text(client.get(url))


def test_the_page_shows_the_bags_of_one_way_and_its_steps(
    bench: Bench, bags: list[Bag]
) -> None:
    bench.move("collected", *bags[:3])
    first = _text(bench.open(_url(bags[0])))
    assert "9 planned</a>" in first
    assert "3 collected</a>" in first
    assert bags[5].label_code in first
    assert bags[0].label_code not in first
    assert "They are received" in first
    assert "They are washed" not in first
    second = _text(bench.open(_url(bags[0]), way="collected"))
    assert bags[0].label_code in second
    assert bags[5].label_code not in second
    assert "They are washed" in second
    assert "Back to planned" in second


def test_bags_are_listed_as_people_count(bench: Bench, bags: list[Bag]) -> None:
    page = _text(bench.open(_url(bags[0])))
    places = [page.index(f"<b>{number}</b>") for number in range(1, 13)]
    assert places == sorted(places)


def test_all_can_be_ticked_without_a_script(bench: Bench, bags: list[Bag]) -> None:
    assert " checked" not in _text(bench.open(_url(bags[0])))
    page = _text(bench.open(_url(bags[0]), way="planned", all=""))
    assert page.count(" checked>") == 12


def test_one_bag_that_cannot_take_the_step_keeps_all_back(
    bench: Bench, bags: list[Bag]
) -> None:
    bench.move("received", bags[2])
    answer = bench.post(
        _url(bags[0], "?way=planned"),
        bags=_keys(bags[:4]),
        way="received",
        note="kept as typed",
    )
    assert answer.status_code == 422
    page = _text(answer)
    assert f"Bag {bags[2].code} is received already. No bag was moved." in page
    assert "kept as typed" in page
    assert page.count(" checked>") == 3
    assert _ways(bench).count("received") == 1


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"bags": []}, "Tick the bags that you mean."),
        ({"bags": ["x"]}, "One of the bags is not of this round."),
        ({"bags": ["\x00"]}, "One of the bags is not of this round."),
        ({"way": ""}, "Say what the bags are now."),
        ({"way": "eaten"}, "eaten is not one of the available choices"),
        ({"way": "counted"}, "becomes counted when its counts are published"),
        ({"note": "n" * 301}, "at most 300 characters"),
    ],
)
def test_what_cannot_be_done_is_said_and_moves_nothing(
    bench: Bench, bags: list[Bag], values: dict[str, Any], words: str
) -> None:
    sent = {"bags": _keys(bags[:2]), "way": "received", "note": ""} | values
    answer = bench.post(_url(bags[0]), **sent)
    assert answer.status_code == 422
    assert words in _text(answer)
    assert _ways(bench) == ["planned"] * 12


def test_a_bag_of_another_round_is_refused(bench: Bench, bags: list[Bag]) -> None:
    other, *_ = bench.make(block=1)
    answer = bench.post(_url(bags[0]), bags=_keys([bags[0], other]), way="received")
    assert answer.status_code == 422
    assert "is not of this round" in _text(answer)
    assert bench.way(bags[0]) == "planned"


def test_going_back_needs_a_note_for_many_as_for_one(
    bench: Bench, bags: list[Bag]
) -> None:
    bench.move("lost", *bags[:2])
    url = _url(bags[0], "?way=lost")
    sent = {"bags": _keys(bags[:2]), "way": "received"}
    answer = bench.post(url, **sent)
    assert answer.status_code == 422
    assert "Say in the note why it goes back to received" in _text(answer)
    bench.post(url, **sent, note="in the other cool box")
    assert [bench.way(bag) for bag in bags[:2]] == ["received"] * 2


def test_counted_bags_have_no_step_before_they_are_reported(bench: Bench) -> None:
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=3))))
    with stating(bench.world.group.pk):
        bag = Bag.objects.select_related("round").get()
    assert "They are reported" in _text(bench.open(_url(bag)))
    bench.post(_url(bag), bags=_keys([bag]), way="reported")
    assert bench.way(bag) == "reported"


@pytest.mark.parametrize("way", ["", "nowhere", "washed", "\x00"])
def test_a_way_that_no_bag_is_on_shows_the_first_that_is(
    bench: Bench, bags: list[Bag], way: str
) -> None:
    assert "Bags that are planned" in _text(bench.open(_url(bags[0]), way=way))


def test_a_round_without_bags_says_so(bench: Bench) -> None:
    with stating(bench.world.group.pk):
        empty = Round.objects.create(
            farm_group=bench.world.group, block=bench.world.block, collected_on=DAY
        )
    page = _text(bench.open(f"rounds/{empty.uuid}/bags/move/"))
    assert "This round has no bag yet." in page


def test_the_round_and_the_queue_lead_there(bench: Bench, bags: list[Bag]) -> None:
    address = bench.world.url(_url(bags[0]))
    assert f'href="{address}"' in _text(bench.open(f"rounds/{bags[0].round.uuid}/"))
    assert f'href="{address}"' in _text(bench.open("bags/"))
