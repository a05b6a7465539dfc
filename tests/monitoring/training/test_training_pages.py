"""The pages of training: drawing, counting once, what is shown to whom."""

import re
import struct
from html.parser import HTMLParser
from typing import Any
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.models import (
    Dish,
    ReferenceContent,
    ReferenceCount,
    ReferenceDish,
    ReferenceReading,
    SeniorCounter,
)
from monitoring.pages.reference_page import looks_of
from monitoring.queries.training import reference_for
from monitoring.services.training import choose_senior, plan_of, withdraw_reference
from monitoring.training.fields import animals_in
from monitoring.training.scene import lay_out
from tests.builders import World
from tests.desks import Desk
from tests.monitoring.bench.benches import Bench, some_bags
from tests.monitoring.counters.recounts import Read, recount_sheet, twice
from tests.monitoring.training.desk import count, draw, member, truth_of

pytestmark = pytest.mark.django_db
HOME = "laboratory/training/"
ASKED = {"rust_mites": 1200, "predatory_mites": 80, "thrips": 80}
NEW = {
    "magnification": "20",
    "cells": "20",
    "clumping": "some",
    "debris": "usual",
    "about_rust_mites": "1200",
    "look_rust_mites": "wedge",
    "about_predatory_mites": "60",
    "look_predatory_mites": "pear",
    "about_thrips": "",
    "look_thrips": "long",
}


def _get(world: World, rest: str = "", role: str = "lab") -> str:
    answer = world.client(role).get(world.url(f"{HOME}{rest}"))
    assert answer.status_code == 200, answer.status_code
    return " ".join(answer.content.decode().split())


def _new(world: World, role: str = "lab", **values: str) -> Any:
    with stating(world.group.pk):
        dish = str(Dish.objects.get(farm_group=world.group).uuid)
    return world.client(role).post(
        world.url(f"{HOME}new/"), {"dish": dish} | NEW | values
    )


def _at(reference: ReferenceDish) -> str:
    return f"dishes/{reference.uuid}/"


def _hand_in(
    world: World, reference: ReferenceDish, counts: dict[str, Any], role: str = "lab"
) -> Any:
    return world.client(role).post(world.url(f"{HOME}{_at(reference)}"), counts)


def _only(world: World) -> ReferenceDish:
    with stating(world.group.pk):
        return ReferenceDish.objects.get(farm_group=world.group)


def test_a_dish_is_drawn_and_leads_to_its_page(world: World) -> None:
    answer = _new(world)
    assert answer.status_code == 302
    reference = _only(world)
    assert answer["Location"].endswith(_at(reference))
    assert len(reference.cells) == 20
    truth = truth_of(world, reference)
    assert set(truth) == {"rust_mites", "predatory_mites"}
    with stating(world.group.pk):
        mites = reference.contents.get(organism__code="rust_mites")
    assert 500 < mites.number < 2600
    assert mites.number_to_find < mites.number / 4


def test_what_is_kept_as_the_truth_is_what_is_drawn_in_the_cells(world: World) -> None:
    for cells in (None, 12):
        reference = draw(world, ASKED, seed=5, magnification=10, cells=cells)
        with stating(world.group.pk):
            found = reference_for(member(world), reference.uuid)
            plan = plan_of(found)
            drawn = animals_in(
                lay_out(plan).animals, plan.grid, found.cells or plan.grid.cell_names
            )
            kept = {one.look: one.number_to_find for one in found.contents.all()}
        assert kept == drawn


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"magnification": "3"}, "greater than or equal to 6"),
        ({"magnification": "much"}, "Write a number"),
        ({"cells": "2"}, "greater than or equal to 4"),
        ({"cells": "some"}, "Write a whole number"),
        ({"cells": "900"}, "15 cm dish has 208 cells"),
        ({"cells": "", "magnification": "40"}, "looks through the microscope"),
        ({"look_predatory_mites": "wedge"}, "nobody could tell them apart"),
        ({"look_predatory_mites": "blob"}, "Select a valid choice"),
        ({"about_rust_mites": "-4"}, "greater than or equal to 0"),
        ({"about_rust_mites": "4000"}, "less than or equal to 3000"),
        ({"about_thrips": "3000"}, "do not fit side by side"),
        ({"about_rust_mites": "", "about_predatory_mites": ""}, "of one organism"),
        ({"dish": str(uuid4())}, "none of the laboratory"),
        ({"clumping": "odd"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_drawn_is_refused_in_words(
    world: World, values: dict[str, str], words: str
) -> None:
    answer = _new(world, **values)
    assert answer.status_code == 422
    assert words in " ".join(answer.content.decode().split())
    with stating(world.group.pk):
        assert not ReferenceDish.objects.exists()


class _Text(HTMLParser):
    """Everything a page says or carries, but its fixed numbers of layout."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_the_page_does_not_tell_what_is_in_the_dish(world: World) -> None:
    reference = draw(world, ASKED, seed=123_456_789_012, magnification=20)
    client = world.client("coordinator")
    raw = client.get(world.url(f"{HOME}{_at(reference)}")).content.decode()
    assert str(reference.seed) not in raw
    parser = _Text()
    parser.feed(raw)
    # Keys, names and when it was drawn hold digits by chance.
    text = re.sub(
        r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "", " ".join(parser.words)
    )
    text = text.replace(reference.name, "")
    text = re.sub(r"(Group|Farm|Lab|Coordinator) \w+", "", text)
    text = re.sub(r"\d+ \w+ \d{4}(, \d+:\d+)?|\d+:\d+", "", text)
    numbers = set(re.findall(r"\d+", text))
    with stating(world.group.pk):
        for one in ReferenceContent.objects.filter(reference=reference):
            assert str(one.number) not in numbers
            assert str(one.asked) not in numbers
            # A number as small as one of a cell's name tells nothing.
            assert one.number_to_find < 30 or str(one.number_to_find) not in numbers
    # The same page for a dish with other numbers differs in nothing but names.
    other = draw(world, dict.fromkeys(ASKED, 10), seed=123_456_789_012)

    def blank(text: str, of: ReferenceDish) -> str:
        text = text.replace(str(of.uuid), "KEY").replace(of.name, "NAME")
        return re.sub(r'name="csrfmiddlewaretoken" value="[^"]+"', "", text)

    again = client.get(world.url(f"{HOME}{_at(other)}")).content.decode()
    strip = re.compile(r'nonce[^"]*"[^"]+"')
    assert strip.sub("", blank(raw, reference)) == strip.sub("", blank(again, other))


def _chunks(png: bytes) -> list[bytes]:
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    at, kinds = 8, []
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        kinds.append(png[at + 4 : at + 8])
        at += 12 + length
    return kinds


def _picture(client: Client, world: World, reference: ReferenceDish, kind: str) -> Any:
    cell = reference.cells[3]
    return client.get(world.url(f"{HOME}{_at(reference)}{kind}/{cell}/1.png"))


def test_a_picture_holds_pixels_and_no_words(world: World) -> None:
    reference = draw(world, ASKED)
    answer = _picture(world.client("lab"), world, reference, "looks")
    assert answer["Content-Type"] == "image/png"
    assert "no-store" in answer["Cache-Control"]
    assert set(_chunks(answer.content)) == {b"IHDR", b"IDAT", b"IEND"}
    assert len(answer.content) < 40_000
    again = _picture(world.client("coordinator"), world, reference, "looks")
    assert again.content == answer.content


def test_marks_are_drawn_for_who_has_counted_and_for_nobody_else(world: World) -> None:
    reference = draw(world, ASKED)
    assert _picture(world.client("lab"), world, reference, "marks").status_code == 403
    count(world, reference, dict.fromkeys(ASKED, 1))
    marked = _picture(world.client("lab"), world, reference, "marks")
    assert marked.status_code == 200
    other = world.client("coordinator")
    assert _picture(other, world, reference, "marks").status_code == 403


def test_pictures_are_of_the_cells_to_count_only(world: World) -> None:
    reference = draw(world, ASKED)
    client = world.client("lab")
    missing = next(
        name for name in ("H8", "G7", "I9", "H9", "J5") if name not in reference.cells
    )
    for cell, part in ((missing, 1), (reference.cells[0], 99), ("nowhere", 1)):
        url = world.url(f"{HOME}{_at(reference)}looks/{cell}/{part}.png")
        assert client.get(url).status_code == 404


def test_a_dish_is_handed_in_once_and_then_shows_what_is_in_it(world: World) -> None:
    reference = draw(world, ASKED)
    truth = truth_of(world, reference)
    before = _get(world, _at(reference))
    assert "Your count" in before
    assert "There are" not in before
    answer = _hand_in(world, reference, {**truth, "thrips": truth["thrips"] + 40})
    assert answer.status_code == 302
    page = _get(world, _at(reference))
    assert "Your count" not in page
    assert f'<td class="number">{truth["rust_mites"]}</td>' in page
    assert "Outside the Poisson limits" in page or "% too many" in page
    again = _hand_in(world, reference, dict.fromkeys(truth, 7))
    assert again.status_code == 409
    assert "counted this dish already" in again.content.decode()
    with stating(world.group.pk):
        assert ReferenceReading.objects.count() == 1
        assert set(ReferenceCount.objects.values_list("count", flat=True)) == {
            truth["rust_mites"],
            truth["predatory_mites"],
            truth["thrips"] + 40,
        }
    # Others may still count it, and know nothing yet.
    assert "Your count" in _get(world, _at(reference), role="coordinator")


@pytest.mark.parametrize("wrong", ["", "-1", "few", "3.5", "1000000"])
def test_an_empty_or_odd_count_is_no_zero(world: World, wrong: str) -> None:
    reference = draw(world, ASKED)
    answer = _hand_in(
        world, reference, {"rust_mites": "12", "predatory_mites": "0", "thrips": wrong}
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert 'value="12"' in text
    if wrong not in {"1000000", "-1"}:
        assert "0 where there was none" in text
    with stating(world.group.pk):
        assert not ReferenceReading.objects.exists()


def test_odd_places_to_look_at_show_the_first(world: World) -> None:
    reference = draw(world, ASKED)
    for odd in ("-3", "9999999999999999999999", "x", "99999", "²"):
        assert "look 1 of" in _get(world, f"{_at(reference)}?at={odd}")
    assert "look 3 of" in _get(world, f"{_at(reference)}?at=2")


def test_the_field_of_view_follows_the_magnification(world: World) -> None:
    low = draw(world, ASKED, magnification=10)
    high = draw(world, ASKED, magnification=40)
    with stating(world.group.pk):
        for reference, most in ((low, 1), (high, 9)):
            found = reference_for(member(world), reference.uuid)
            assert max(one.parts for one in looks_of(found)) == most
    assert "22.0 mm wide" in _get(world, _at(low))
    assert "5.5 mm wide" in _get(world, _at(high))


def test_a_withdrawn_dish_makes_nobody_s_record_and_is_counted_no_more(
    world: World,
) -> None:
    reference = draw(world, ASKED)
    count(world, reference, dict.fromkeys(ASKED, 1))
    url = world.url(f"{HOME}{_at(reference)}withdraw/")
    assert world.client("coordinator").post(url, {"why": " "}).status_code == 302
    assert _only(world).stands
    assert world.client("coordinator").post(url, {"why": "blurred"}).status_code == 302
    assert not _only(world).stands
    again = world.client("coordinator").post(url, {"why": "once more"}, follow=True)
    assert "withdrawn already" in again.content.decode()
    page = _get(world)
    assert "1 counted dish was withdrawn and is left out" in page
    assert "No reference dish was counted yet" in page
    late = _hand_in(world, reference, dict.fromkeys(ASKED, 1), role="coordinator")
    assert late.status_code == 409
    assert "nobody need count it" in late.content.decode()


def test_who_counted_a_dish_of_their_own_cannot_take_it_out_of_their_record(
    world: World,
) -> None:
    reference, other = draw(world, ASKED), draw(world, ASKED)
    count(world, reference, dict.fromkeys(ASKED, 1))
    lab = world.client("lab")
    assert "Withdraw this dish" not in _get(world, _at(reference))
    answer = lab.post(world.url(f"{HOME}{_at(reference)}withdraw/"), {"why": "bad"})
    assert answer.status_code == 403
    assert "Withdraw this dish" in _get(world, _at(other))
    answer = lab.post(world.url(f"{HOME}{_at(other)}withdraw/"), {"why": "blurred"})
    assert answer.status_code == 302


def test_only_its_maker_or_a_coordinator_withdraws_a_dish(world: World) -> None:
    reference = draw(world, ASKED, role="coordinator")
    url = world.url(f"{HOME}{_at(reference)}withdraw/")
    assert world.client("lab").post(url, {"why": "mine"}).status_code == 403
    assert world.client("coordinator").post(url, {"why": "mine"}).status_code == 302


@pytest.mark.parametrize("role", ["grower", "consultant"])
def test_who_does_not_count_is_kept_out(world: World, role: str) -> None:
    reference = draw(world, ASKED)
    client = world.client(role)
    for rest in ("", "new/", _at(reference)):
        assert client.get(world.url(f"{HOME}{rest}")).status_code == 403
    assert _picture(client, world, reference, "looks").status_code == 403


def test_an_outsider_finds_nothing(world: World, stranger: Client) -> None:
    reference = draw(world, ASKED)
    for rest in ("", "new/", _at(reference)):
        assert stranger.get(world.url(f"{HOME}{rest}")).status_code == 404
    assert _picture(stranger, world, reference, "looks").status_code == 404


def test_a_coordinator_sees_everybody_but_not_what_would_spoil_a_dish(
    world: World,
) -> None:
    known, unknown = draw(world, ASKED, seed=1), draw(world, ASKED, seed=2)
    for reference in (known, unknown):
        count(world, reference, truth_of(world, reference))
    count(world, known, dict.fromkeys(ASKED, 3), role="coordinator")
    assert world.people["lab"].name in _get(world, role="coordinator")
    assert world.people["coordinator"].name not in _get(world).split("Dishes to")[1]
    record = f"people/{world.people['lab'].uuid}/"
    page = _get(world, record, role="coordinator")
    assert page.count("shown once you have counted this dish yourself") == 1
    assert page.count("the same") >= 3
    assert "told from 10 dishes on" in page
    assert "told from 10 dishes on" not in _get(world)
    # Nor does the chart tell what is in the dish that is still to be counted.
    drawn = page.split('id="figure-progress"')[1].split("</script>")[0]
    assert str(truth_of(world, unknown)["rust_mites"]) not in drawn
    assert f"{unknown.name}, rust mites at 20 times: 1.00 times" in drawn
    assert world.client("lab").get(world.url(f"{HOME}{record}")).status_code == 403
    nobody = world.url(f"{HOME}people/{uuid4()}/")
    assert world.client("coordinator").get(nobody).status_code == 404


def test_the_standard_is_met_after_ten_dishes_and_said(world: World) -> None:
    world.client("coordinator").post(
        world.url("laboratory/counters/standard/"),
        {
            "least_concordance": 0.9,
            "widest_ratio": 1.5,
            "valid_from": "2026-01-01",
            "note": "",
        },
    )
    for number in range(10):
        asked = {"rust_mites": 300 + 300 * number}
        reference = draw(world, asked, seed=number, cells=60, magnification=10)
        truth = truth_of(world, reference)["rust_mites"]
        count(world, reference, {"rust_mites": truth - number % 3})
        if number == 8:
            assert "9 dishes of the 10 that it takes" in _get(world)
    assert "standard is met for rust mites at 10 times" in _get(world)


def test_real_recounts_are_held_against_the_senior_if_one_is_named(
    world: World, desk: Desk
) -> None:
    lab, boss = world.people["lab"].name, world.people["coordinator"].name
    first = [25, 40, 95, 33, 160, 70, 22, 28, 51, 130, 33, 64]
    second = [24, 43, 90, 30, 171, 66, 24, 27, 55, 122, 36, 60]
    readings = twice(first, [10] * 12, people=(lab, "Former Hand"))
    readings += [Read(bag, 3, boss, mites) for bag, mites in enumerate(second, 1)]
    desk.publish(desk.upload(recount_sheet(readings), "recounts.csv"))
    page = _get(world)
    assert "Held against the other reader" in page
    assert "Rust mites, no magnification noted" in page
    assert "751 counted of 120 in 12 dishes" in page
    url = world.url(f"{HOME}senior/")
    client = world.client("coordinator")
    assert client.post(url, {"person": str(uuid4())}).status_code == 422
    chosen = {"person": str(world.people["coordinator"].uuid)}
    assert client.post(url, chosen).status_code == 302
    page = _get(world)
    assert f"Held against {boss}" in page
    assert "of 120" not in page
    assert "0.87 to 1.15 times" in page
    # The senior is held against the other readers.
    assert "Held against the other reader" in _get(world, role="coordinator")
    lab_senior = {"person": str(world.people["lab"].uuid)}
    assert client.post(url, lab_senior).status_code == 302
    assert f"Held against {lab}" in _get(world, role="coordinator")
    assert client.post(url, {"person": ""}).status_code == 302
    with stating(world.group.pk):
        assert SeniorCounter.objects.count() == 3


def test_recounts_at_the_bench_stand_by_magnification_and_only_if_blind(
    world: World,
) -> None:
    first, second = Bench(world), Bench(world, role="coordinator")
    bags = some_bags(world, 4)
    for number, bag in enumerate(bags):
        first.count(bag, 30 + number, magnification=25)
    first.send()
    for number, bag in enumerate(bags):
        second.count(bag, 31 + number, recount=True, blind=number < 3)
    second.send()
    page = _get(world)
    assert "Rust mites at 25 times</td><td" in page
    assert "1 count of a dish that was counted again with the first figure" in page
    assert '<td class="number">3</td>' in page
    # The other reader looked at another magnification, which is that of their own row.
    assert "Rust mites at 40 times</td><td" in _get(world, role="coordinator")


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE monitoring_referencecontent SET number_to_find = 0",
        "DELETE FROM monitoring_referencecontent",
        "UPDATE monitoring_referencecount SET count = 9",
        "DELETE FROM monitoring_referencecount",
        "UPDATE monitoring_referencereading SET magnification = 40",
        "DELETE FROM monitoring_referencereading",
        "UPDATE monitoring_referencedish SET seed = 2",
        "UPDATE monitoring_referencedish SET withdrawn_at = now(), cells = '{}',"
        " withdrawn_why = 'odd'",
        "DELETE FROM monitoring_referencedish",
        "UPDATE monitoring_seniorcounter SET person_id = NULL",
        "DELETE FROM monitoring_seniorcounter",
    ],
)
def test_what_was_kept_is_only_added_to(world: World, change: str) -> None:
    reference = draw(world, ASKED)
    count(world, reference, dict.fromkeys(ASKED, 3))
    with stating(world.group.pk):
        choose_senior(member(world, "coordinator"), world.people["lab"])
    with (
        pytest.raises(DatabaseError, match=r"only added to|never changed"),
        stating(world.group.pk),
        connection.cursor() as cursor,
    ):
        cursor.execute(change)


def test_a_withdrawn_dish_stays_withdrawn(world: World) -> None:
    reference = draw(world, ASKED)
    with stating(world.group.pk):
        withdraw_reference(member(world), reference, why="blurred")
    with (
        pytest.raises(DatabaseError, match="never changed"),
        stating(world.group.pk),
        connection.cursor() as cursor,
    ):
        cursor.execute(
            "UPDATE monitoring_referencedish SET withdrawn_at = NULL,"
            " withdrawn_by_id = NULL, withdrawn_why = ''"
        )


def test_pages_cost_the_same_queries_however_much_was_counted(world: World) -> None:
    def cost(rest: str) -> int:
        client = world.client("coordinator")
        with CaptureQueriesContext(connection) as queries:
            assert client.get(world.url(f"{HOME}{rest}")).status_code == 200
        return len(queries)

    def more(numbers: range) -> None:
        for number in numbers:
            reference = draw(world, ASKED, seed=number)
            for role in ("lab", "coordinator"):
                if number % 2:
                    count(world, reference, dict.fromkeys(ASKED, number), role=role)

    more(range(4))
    record = f"people/{world.people['lab'].uuid}/"
    reference = draw(world, {"rust_mites": 300}, seed=99)
    pages = ("", record, _at(reference))
    first = [cost(rest) for rest in pages]
    more(range(4, 12))
    assert [cost(rest) for rest in pages] == first
    assert max(first) <= 17, first
