"""Blank washes: a sheet brings them, a page says what is carried over."""

import pytest

from blocks.tenancy import stating
from monitoring.models import BlankCount, BlankWash, RoundChange, Tally
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.counters.recounts import blank_row, blank_sheet

pytestmark = pytest.mark.django_db

KNOWN = {"block": "Block 0", "collected_on": "2026-08-14"}


def _page(world: World, role: str = "lab") -> str:
    answer = world.client(role).get(world.url("laboratory/blanks/"))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def _bring(desk: Desk, *rows: str, name: str = "blanks.csv") -> None:
    sheet = desk.publish(desk.upload(blank_sheet(*rows), name))
    assert sheet.state == "published", [one.sentence for one in desk.findings(sheet)]


def test_a_sheet_brings_blanks_and_no_tallies(desk: Desk, world: World) -> None:
    sheet = desk.upload(
        blank_sheet(
            blank_row(blank="B1", rust_mites=2, rust_mites_cells=52, analyst="Jo"),
            blank_row(blank="B2", rust_mites="", thrips=1),
        )
    )
    assert (sheet.state, sheet.layout) == ("checked", "blanks")
    assert desk.codes(sheet) == []
    assert sheet.summary["new_blanks"] == 2
    page = world.client("lab").get(world.url(f"sheets/{sheet.uuid}/"))
    assert "It is ready: 2 blank washes." in page.content.decode()
    assert desk.publish(sheet).state == "published"
    page = world.client("lab").get(world.url(f"sheets/{sheet.uuid}/"))
    assert "what is carried over" in page.content.decode()
    with stating(world.group.pk):
        assert not Tally.objects.exists()
        assert not RoundChange.objects.exists()
        counts = list(
            BlankCount.objects.order_by(
                "blank__code", "organism__position"
            ).values_list(
                "blank__code", "organism__code", "count", "proportion_counted"
            )
        )
        assert BlankWash.objects.get(code="B1").analyst_name == "Jo"
    assert counts == [
        ("B1", "rust_mites", 2, 0.25),
        ("B1", "thrips", 0, 1.0),
        ("B2", "thrips", 1, 1.0),
    ]


def test_the_same_blanks_again_change_nothing(desk: Desk, world: World) -> None:
    _bring(desk, blank_row(rust_mites=2), blank_row(blank="B2"))
    again = desk.upload(
        blank_sheet(blank_row(blank="B2"), blank_row(rust_mites=2), ""), "again.csv"
    )
    assert again.summary["new_blanks"] == 0
    assert desk.codes(again) == []
    page = world.client("lab").get(world.url(f"sheets/{again.uuid}/"))
    assert "it changes nothing" in page.content.decode()
    with stating(world.group.pk):
        assert BlankWash.objects.count() == 2


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({"blank": ""}, "empty-field"),
        ({"washed_on": ""}, "empty-field"),
        ({"washed_on": "2099-01-01"}, "future-day"),
        ({"washed_on": "yesterday"}, "not-a-date"),
        ({"rust_mites": "", "thrips": ""}, "blank-without-count"),
        ({"rust_mites": "uncountable"}, "blank-uncountable"),
        ({"rust_mites": "-1"}, "negative"),
        ({"rust_mites_cells": "Z99"}, "no-such-cell"),
        ({"dish": "soup plate"}, "unknown-dish"),
        ({"after_bag": "1"}, "after-bag-without-round"),
        ({"after_bag": "1", **KNOWN}, "unknown-bag-before"),
        ({"after_bag": "1", **KNOWN, "block": "Nowhere"}, "unknown-block"),
        (
            {"after_bag": "1", **KNOWN, "collected_on": "2026-08-16"},
            "washed-before-collected",
        ),
    ],
)
def test_what_is_wrong_with_a_blank_is_said_at_its_row(
    desk: Desk, row: dict[str, str], code: str
) -> None:
    sheet = desk.upload(blank_sheet(blank_row(blank="B9"), blank_row(**row)))
    assert sheet.state == "checked"
    found = [one for one in desk.findings(sheet) if one.level == "error"]
    assert [(one.row_number, one.code) for one in found][:1] == [(3, code)]
    assert found[0].sentence.endswith(".")


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_the_template_is_a_sheet_of_blanks(desk: Desk, kind: str) -> None:
    client, url = desk.world.client("lab"), desk.world.url("sheets/layouts/")
    answer = client.get(f"{url}blanks.{kind}")
    sheet = desk.upload(b"".join(answer), f"template.{kind}")
    assert (sheet.state, sheet.layout) == ("checked", "blanks")
    # Its example names a block that this group does not have.
    assert desk.codes(sheet) == ["unknown-block"]
    assert "after_bag" in client.get(url).content.decode()


def test_what_is_wrong_stands_beside_its_field(desk: Desk) -> None:
    text = "no;date;Rust mites;carried\nB1;2099-01-01;1;x\n"
    sheet = desk.upload(text.replace("no;", "blank_no;").encode())
    assert sheet.layout == "blanks"
    page = desk.world.client("lab").get(desk.world.url(f"sheets/{sheet.uuid}/"))
    assert "has not come yet" in page.content.decode()


def test_a_blank_is_written_once(desk: Desk, world: World) -> None:
    twice = desk.upload(blank_sheet(blank_row(), blank_row(rust_mites=1)))
    assert set(desk.codes(twice)) == {"blank-twice"}
    _bring(desk, blank_row(rust_mites=2))
    other = desk.upload(blank_sheet(blank_row(rust_mites=3)), "other.csv")
    assert desk.codes(other) == ["blank-differs"]
    # The next day labs number from 1 again.
    _bring(desk, blank_row(rust_mites=3, washed_on="2026-08-16"), name="next.csv")


def test_dates_with_slashes_are_asked_once(desk: Desk) -> None:
    sheet = desk.upload(blank_sheet(blank_row(washed_on="03/04/2026")))
    assert sheet.summary["open_questions"] == ["slash_dates"]
    sheet = desk.answer(sheet, slash_dates="day_first")
    assert desk.publish(sheet).state == "published"


def test_the_limit_of_none_in_thirty_is_three_thirtieths(
    desk: Desk, world: World
) -> None:
    """Hanley & Lippman-Hand 1983, JAMA 249:1743-1745: 3 over n."""
    assert "No blank wash was counted yet" in _page(world)
    _bring(desk, *(blank_row(blank=f"B{i}", thrips="") for i in range(30)))
    text = _page(world)
    assert (
        "Rust mites: at most 0.100 carried over per wash; 0 found in 30 blanks" in text
    )
    assert "none of 30: up to 12 in 100" in text
    assert "Thrips" not in text


def test_carry_over_is_set_against_the_wash_before(desk: Desk, world: World) -> None:
    desk.publish(
        desk.upload(bag_sheet(bag_row(bag=1, rust_mites=50, rust_mites_cells=52)))
    )
    _bring(
        desk,
        blank_row(blank="B1", after_bag="1", rust_mites=2, **KNOWN),
        blank_row(blank="B2", rust_mites=7),
    )
    text = _page(world)
    # 50 in a quarter of the dish are 200; 2 of 200 are 5 of 500; Garwood's one-sided
    # limit of 2 is 6.296, so 15.7 of 500.
    assert "From a wash of 500 before it</dt><dd>5.0, at most 16<br>" in text
    assert "bag 1</a>: 200 rust mites, 1 thrips<br>" in text
    assert "1 blanks whose wash before is known" in text


def test_blanks_that_are_too_unlike_say_so(desk: Desk, world: World) -> None:
    rows = [blank_row(blank=f"B{i}") for i in range(19)]
    _bring(desk, *rows, blank_row(blank="B19", rust_mites=12))
    text = _page(world)
    assert "differ more than chance alone" in text
    # Thrips were not found at all and are not unlike.
    assert text.count("differ more than chance alone") == 1


def test_a_withdrawn_blank_stays_to_be_seen_and_counts_no_more(
    desk: Desk, world: World
) -> None:
    _bring(desk, blank_row(rust_mites=400, thrips=""), blank_row(blank="B2", thrips=""))
    with stating(world.group.pk):
        blank = BlankWash.objects.get(code="B1")
    url = world.url(f"laboratory/blanks/{blank.uuid}/withdraw/")
    client = world.client("lab")
    assert client.get(url).status_code == 200
    nothing = client.post(url, {"why": "  "})
    assert nothing.status_code == 422
    assert "required" in nothing.content.decode()
    assert client.post(url, {"why": "it was a bag"}).status_code == 302
    text = _page(world)
    assert "it was a bag" in text
    assert "Rust mites: <s>400</s>" in text
    assert "0 found in 1 blank." in text
    again = client.post(url, {"why": "once more"})
    assert again.status_code == 422
    assert "withdrawn already" in again.content.decode()
    # Its code is free for the corrected one.
    _bring(desk, blank_row(rust_mites=4), name="corrected.csv")
    assert "4 found in 2 blanks" in _page(world)
