"""The pages of bags: making, labels, scanning, the way, and the queues."""

from datetime import date, timedelta
from io import BytesIO
from typing import Any

import pypdfium2
import pytest
import zxingcpp
from django.utils import timezone

from blocks.tenancy import stating
from monitoring.models import Bag, BagSetting, Round
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bags.bench import Bench

pytestmark = pytest.mark.django_db
NUMBERS = {"tissue": "leaf", "upper": "2", "mid": "1", "low": "", "units": "1"}


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


def _text(response: Any) -> str:
    return " ".join(response.content.decode().split())


def _today() -> date:
    return timezone.localdate()


def _of_round(bag: Bag, rest: str) -> str:
    return f"rounds/{bag.round.uuid}/{rest}"


def test_bags_are_made_for_a_block_and_a_day(bench: Bench) -> None:
    url = f"blocks/{bench.world.block.uuid}/bags/"
    assert "Bags from the upper canopy" in _text(bench.open(url))
    day = _today() + timedelta(days=3)
    answer = bench.post(url, day=day.isoformat(), **NUMBERS)
    with stating(bench.world.group.pk):
        of_round = Round.objects.get(collected_on=day)
        bags = list(of_round.bags.order_by("pk"))
    assert answer["Location"].endswith(f"/rounds/{of_round.uuid}/labels/")
    assert [bag.position for bag in bags] == ["upper", "upper", "mid"]
    shown = _text(bench.open(_of_round(bags[0], "labels/")))
    assert all(bag.label_code in shown for bag in bags)
    assert "3 bags planned" in _text(bench.open("bags/"))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"upper": "", "mid": ""}, "Say how many bags: at least one."),
        ({"upper": "-1"}, "greater than or equal to 0"),
        ({"upper": "many"}, "Write a whole number, such as 5."),
        ({"upper": "501"}, "less than or equal to 500"),
        ({"upper": "300", "mid": "300"}, "That makes 600 bags"),
        ({"anywhere": "1"}, "A leaf needs its canopy position"),
        ({"tissue": "root"}, "root is not one of the available choices"),
        ({"day": "14.8.2026"}, "Write the date as 2026-08-14."),
        ({"day": "1026-08-14"}, "more than a year from today"),
        ({"units": "0"}, "greater than or equal to 1"),
    ],
)
def test_odd_wishes_are_told_in_words_and_make_nothing(
    bench: Bench, values: dict[str, str], words: str
) -> None:
    url = f"blocks/{bench.world.block.uuid}/bags/"
    wish = NUMBERS | {"day": _today().isoformat()} | values
    answer = bench.post(url, **wish)
    assert answer.status_code == 422
    assert words in _text(answer)
    with stating(bench.world.group.pk):
        assert not Bag.objects.exists()
        assert not Round.objects.exists()


def test_more_bags_go_on_with_the_rounds_numbers(bench: Bench) -> None:
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(bag_row(bag="7"), bag_row(bag="spare"))))
    with stating(bench.world.group.pk):
        of_round = Round.objects.get()
    bench.post(f"rounds/{of_round.uuid}/bags/", **NUMBERS)
    with stating(bench.world.group.pk):
        codes = of_round.bags.order_by("pk").values_list("code", flat=True)
        assert list(codes) == ["7", "spare", "8", "9", "10"]
    bench.post(f"rounds/{of_round.uuid}/labels/give/")
    with stating(bench.world.group.pk):
        assert not of_round.bags.filter(label="").exists()


def _read(answer: Any) -> list[list[str]]:
    content = BytesIO(b"".join(answer))
    return [
        [code.text for code in zxingcpp.read_barcodes(page.render(scale=4).to_pil())]
        for page in pypdfium2.PdfDocument(content)
    ]


def test_the_printed_code_opens_the_bag(bench: Bench, settings: Any) -> None:
    settings.SITE_URL = "https://washboard.example.org"
    bags = bench.make()
    answer = bench.open(_of_round(bags[0], "labels.pdf"))
    assert answer["Content-Type"] == "application/pdf"
    (page,) = _read(answer)
    assert len(page) == 3
    for address in page:
        host, path = address[:29], address[29:]
        assert host == settings.SITE_URL
        opened = bench.world.client("grower").get(path)
        assert opened.status_code == 200
    labels = {address.rstrip("/").rsplit("/", 1)[1] for address in page}
    assert labels == {bag.label for bag in bags}


def test_labels_begin_at_the_first_free_one_on_the_paper_asked_for(
    bench: Bench,
) -> None:
    bags = bench.make()
    bench.move("lost", bags[0])
    bench.move("collected", bags[1])
    answer = bench.open(_of_round(bags[0], "labels.pdf"), paper="letter-10", first="10")
    assert [len(page) for page in _read(answer)] == [1, 1]
    answer = bench.open(_of_round(bags[0], "labels.pdf"), paper="roll", waiting="on")
    assert [len(page) for page in _read(answer)] == [1]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"first": "22"}, "A page has labels 1 to 21"),
        ({"first": "0"}, "greater than or equal to 1"),
        ({"first": "x"}, "Write a whole number"),
        ({"paper": "a3"}, "a3 is not one of the available choices"),
        ({"paper": "roll", "first": "2"}, "A page has labels 1 to 1"),
    ],
)
def test_labels_that_cannot_be_printed_are_told_of(
    bench: Bench, asked: dict[str, str], words: str
) -> None:
    bag, *_ = bench.make()
    answer = bench.open(_of_round(bag, "labels.pdf"), **asked)
    assert answer.status_code == 422
    assert words in _text(answer)


def test_a_round_with_no_label_to_print_says_so(bench: Bench) -> None:
    bag, *_ = bench.make(numbers={"mid": 1})
    bench.move("collected", bag)
    answer = bench.open(_of_round(bag, "labels.pdf"), waiting="on")
    assert answer.status_code == 422
    assert "There is no label to print" in _text(answer)
    bench.move("lost", bag)
    answer = bench.open(_of_round(bag, "labels.pdf"))
    assert answer.status_code == 422
    assert "There is no label to print" in _text(answer)


@pytest.mark.parametrize(
    "written",
    ["{code}", "{small}", "https://elsewhere.example.org/g/x/b/{plain}/", "/b/{plain}"],
)
def test_what_a_scanner_types_opens_the_bag(bench: Bench, written: str) -> None:
    bag, *_ = bench.make()
    typed = written.format(
        code=bag.label_code, small=bag.label_code.lower(), plain=bag.label
    )
    answer = bench.open("bags/scan/", code=typed)
    assert answer["Location"] == bench.world.url(f"b/{bag.label}/")
    assert f'label <span class="code">{bag.label_code}' in _text(
        bench.open(f"b/{bag.label_code.lower()}/")
    )


@pytest.mark.parametrize(
    ("typed", "status", "words"),
    [
        ("", 200, "press Enter"),
        ("K7R-4M3", 422, "is no label code"),
        ("7KR-4M32", 422, "does not check"),
        ("K7R-4M32", 404, "No bag that you may see has the label K7R-4M32"),
        ("http://[::1/x", 422, "is no label code"),
        ("//", 422, "is no label code"),
        ("<script>", 422, "&lt;script&gt;"),
        ("\x00", 422, "is no label code"),
    ],
)
def test_what_is_no_label_is_refused_in_words(
    bench: Bench, typed: str, status: int, words: str
) -> None:
    answer = bench.open("bags/scan/", code=typed)
    assert answer.status_code == status
    assert words in _text(answer)


@pytest.mark.parametrize("label", ["K7R4M32", "7KR4M32", "x", "%00", "a b"])
def test_an_address_of_no_bag_is_not_found(bench: Bench, label: str) -> None:
    assert bench.open(f"b/{label}/").status_code == 404


def test_the_page_of_a_bag_tells_its_way_and_moves_it(bench: Bench) -> None:
    bag, *_ = bench.make()
    url = f"bags/{bag.uuid}/"
    page = _text(bench.open(url))
    assert "Planned: one leaf, upper canopy" in page
    assert "It is collected" in page
    answer = bench.post(f"{url}move/", way="collected")
    assert answer["Location"] == bench.world.url(url)
    assert bench.way(bag) == "collected"
    page = _text(bench.open(url))
    assert bench.world.people["lab"].name in page
    assert "Back to planned" in page


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ("counted", "becomes counted when its counts are published"),
        ("eaten", "eaten is not one of the available choices"),
        ("", "This field is required"),
    ],
)
def test_a_step_that_cannot_be_taken_is_told_on_the_page(
    bench: Bench, way: str, words: str
) -> None:
    bag, *_ = bench.make()
    answer = bench.post(f"bags/{bag.uuid}/move/", way=way, note="kept as typed")
    assert answer.status_code == 422
    assert words in _text(answer)
    assert "kept as typed" in _text(answer)
    assert bench.way(bag) == "planned"


def test_growers_look_and_do_not_move(bench: Bench) -> None:
    mine, other = bench.make()[0], bench.make(block=1)[0]
    grower = Bench(bench.world, "grower")
    page = grower.open(f"bags/{mine.uuid}/")
    assert page.status_code == 200
    assert "It is collected" not in _text(page)
    assert grower.post(f"bags/{mine.uuid}/move/", way="lost").status_code == 403
    # The second block is of a farm that the grower does not see.
    assert grower.open(f"bags/{other.uuid}/").status_code == 404
    assert grower.open(f"b/{other.label}/").status_code == 404
    assert grower.open("bags/scan/", code=other.label).status_code == 404


def test_a_bag_of_a_sheet_has_its_page_with_its_counts(bench: Bench) -> None:
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(bag_row(rust_mites=123))))
    with stating(bench.world.group.pk):
        bag = Bag.objects.get()
    page = _text(bench.open(f"bags/{bag.uuid}/"))
    assert ">123<" in page
    assert "A sheet brought the bag" in page
    assert "Over a phone" not in page


def test_the_queue_has_the_longest_waiting_first_and_says_what_is_late(
    bench: Bench,
) -> None:
    today = _today()
    old = bench.make(today - timedelta(days=10), numbers={"mid": 1})[0]
    new = bench.make(today - timedelta(days=2), numbers={"mid": 1})[0]
    washed = bench.make(today - timedelta(days=20), numbers={"mid": 1})[0]
    for bag in (old, new):
        bench.take(bag, "collected", "received")
    bench.take(washed, "received", "washed")
    page = _text(bench.open("bags/"))
    assert "3 bags wait: 2 to be washed, 1 to be counted; 1 longer than your" in page
    assert page.index(old.label_code) < page.index(new.label_code)
    assert '10 days to be washed, <span class="word above">longer than 3' in page
    # What was washed waits from the day of its wash.
    assert "0 days to be counted" in page
    assert "common practice, until your coordinator sets other limits" in page


def test_incomplete_rounds_and_missing_bags_are_listed(bench: Bench) -> None:
    planned, waiting, lost = bench.make(_today() - timedelta(days=5))
    bench.move("received", waiting)
    bench.move("lost", lost)
    page = _text(bench.open("bags/"))
    assert "0 of 2" in page
    assert "1 planned<br>1 received<br>" in page
    missing = page[page.index('id="missing"') :]
    assert planned.label_code in missing
    assert lost.label_code in missing
    assert waiting.label_code not in missing


def test_with_nothing_under_way_the_queues_say_so(bench: Bench) -> None:
    page = _text(bench.open("bags/"))
    assert "No bag waits." in page
    assert "Every round up to today is complete." in page
    assert "No bag is missing." in page


def test_the_coordinator_sets_paper_and_limits(bench: Bench) -> None:
    coordinator = Bench(bench.world, "coordinator")
    values = {
        "paper": "roll",
        "roll_width_mm": "50",
        "roll_height_mm": "25",
        "wash_within_days": "1",
        "count_within_days": "2",
    }
    for _ in range(2):
        coordinator.post("bags/settings/", **values)
    with stating(bench.world.group.pk):
        kept = BagSetting.objects.get()
    assert (kept.paper, kept.roll_height_mm, kept.wash_within_days) == ("roll", 25, 1)
    bag, *_ = bench.make()
    page = pypdfium2.PdfDocument(
        BytesIO(b"".join(bench.open(_of_round(bag, "labels.pdf"))))
    )[0]
    assert page.get_width() == pytest.approx(50 / 25.4 * 72, abs=0.01)
    for wrong in ({"roll_width_mm": "5"}, {"wash_within_days": "0"}, {"paper": ""}):
        answer = coordinator.post("bags/settings/", **(values | wrong))
        assert answer.status_code == 422


def test_the_block_page_bears_a_round_that_is_only_planned(bench: Bench) -> None:
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(bag_row())))
    bench.make(_today() + timedelta(days=2))
    for url in ("", f"blocks/{bench.world.block.uuid}/"):
        assert bench.open(url).status_code == 200


def test_pages_make_few_queries(
    bench: Bench, django_assert_max_num_queries: Any
) -> None:
    bags = bench.make(numbers={"mid": 8})
    for bag in bags:
        bench.move("received", bag)
    client = bench.world.client("lab")
    for rest in ("bags/", f"bags/{bags[0].uuid}/", _of_round(bags[0], "labels.pdf")):
        # Beside the page's own: session, person, membership, stating and savepoints.
        with django_assert_max_num_queries(20):
            assert client.get(bench.world.url(rest)).status_code == 200
