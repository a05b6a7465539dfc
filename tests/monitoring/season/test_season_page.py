"""A block through the season: sums in words, their working, and what is missing."""

import json
import re
from datetime import date
from typing import Any

import pytest
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.estimation import BetaRecovery, StoredPosterior, mite_days
from monitoring.models import Density
from monitoring.words import figure, interval
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.weather.stations import Station, weather_csv

pytestmark = pytest.mark.django_db
COUNTS = {
    "2020-06-01": [0, 2, 5, 1, 9, 3],
    "2020-06-15": [12, 30, 8, 2, 17, 44],
    "2020-06-29": [90, 44, 160, 12, 61, 210],
}


def _count(desk: Desk, counts: dict[str, list[Any]], **fields: str) -> None:
    rows = [
        bag_row(bag=number, collected_on=on, rust_mites=count, washed_on="", **fields)
        for on, seen in counts.items()
        for number, count in enumerate(seen)
    ]
    sheet = desk.publish(desk.upload(bag_sheet(*rows)))
    assert sheet.state == "published", desk.findings(sheet)
    compute_changed(desk.world.group.pk)


def _text(world: World, role: str = "consultant", **query: str) -> str:
    url = reverse("block-season", args=[world.slug, world.block.uuid])
    answer = world.client(role).get(url, query or None)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def _figure(text: str) -> Any:
    found = re.search(r'<script id="through-leaf"[^>]*>(.*?)</script>', text)
    assert found is not None
    return json.loads(found[1])


def _densities(world: World) -> list[Density]:
    with stating(world.group.pk):
        return list(
            Density.objects.filter(
                is_current=True, stratum="", organism__code="rust_mites"
            )
            .select_related("round")
            .order_by("round__collected_on")
        )


def test_the_sentence_is_the_core_s_own_figure(desk: Desk, world: World) -> None:
    _count(desk, COUNTS)
    rows = _densities(world)
    recovery = rows[0].used["recovery"]
    expected = mite_days(
        [0, 14, 28],
        [StoredPosterior(tuple(row.quantiles)) for row in rows],
        recoveries=BetaRecovery(recovery["alpha"], recovery["beta"]),
    )
    words = f"{figure(expected.total)} ({interval(expected.low, expected.high)})"
    text = _text(world)
    assert (
        f"Rust mites: {words} mite-days per leaf, from 1 June 2020 to 29 June 2020."
        in text
    )
    assert "the vines stood at BBCH 75, berries the size of peas" in text
    assert "No weather was uploaded for this farm" in text


def test_the_working_shows_each_term_and_leads_to_its_rounds(
    desk: Desk, world: World
) -> None:
    _count(desk, COUNTS)
    text = _text(world)
    working = text[text.index("Working: rust mites") :].split("</details>")[0]
    for row in _densities(world):
        assert str(row.uuid) in working
        assert figure(row.median) in working
    assert working.count('<td class="number">14</td>') == 2
    assert "Together" in working
    assert "does not average out" in working


def test_the_chart_has_organisms_heat_and_stages_on_one_axis(
    desk: Desk, world: World
) -> None:
    _count(desk, COUNTS)
    Station(world).take(weather_csv(*[(11.0, 25.0)] * 90, first=date(2020, 4, 5)))
    found = _figure(_text(world))
    names = [trace["name"] for trace in found["data"]]
    assert names == ["rust mites", "predatory mites", "thrips", "degree-days"]
    assert found["data"][0]["y"][0] == 0
    assert len(found["data"][0]["x"]) == 3
    assert found["data"][-1]["mode"] == "lines"
    stages = [
        note["text"]
        for note in found["layout"]["annotations"]
        if note.get("name") == "stage"
    ]
    assert stages == ["75"]


def test_heat_stands_beside_each_round_and_says_at_least(
    desk: Desk, world: World
) -> None:
    _count(desk, COUNTS)
    Station(world).take(weather_csv(*[(20.51, 20.51)] * 70, first=date(2020, 4, 5)))
    text = _text(world)
    # 58 days of 10 degrees up to 1 June; none before 5 April is known.
    assert "<td>at least 580</td>" in text
    assert "<td>at least 700</td>" not in text
    assert "no weather" in text


def test_one_round_has_no_mite_days_and_the_page_says_why(
    desk: Desk, world: World
) -> None:
    _count(desk, {"2020-06-01": COUNTS["2020-06-01"]})
    text = _text(world)
    assert "Only one round, of 1 June 2020: mite-days need two rounds" in text
    assert "through-leaf" not in text
    assert "one round only" in text


def test_a_block_without_rounds_says_what_it_waits_for(world: World) -> None:
    text = _text(world)
    assert "No round of this block is known yet" in text


def test_seasons_are_kept_apart_and_can_be_chosen(desk: Desk, world: World) -> None:
    _count(desk, COUNTS)
    _count(desk, {on.replace("2020", "2021"): seen for on, seen in COUNTS.items()})
    newest, older = _text(world), _text(world, season="2020-06-01")
    assert "from 1 June 2021 to 29 June 2021" in newest
    assert "from 1 June 2020 to 29 June 2020" in older
    assert "?season=2020-06-01" in newest
    assert "from 1 June 2021 to 29 June 2021" in _text(world, season="<b>")


def test_rounds_without_a_figure_are_passed_over_in_words(
    desk: Desk, world: World
) -> None:
    counts: dict[str, list[Any]] = dict(COUNTS)
    counts["2020-06-22"] = ["uncountable"] * 6
    _count(desk, counts)
    text = _text(world)
    assert "The round of 22 June 2020 has no figure" in text
    assert "the line runs on past it" in text
    assert "no figure</a>" in text


def test_uncountable_bags_make_the_sum_at_least(desk: Desk, world: World) -> None:
    counts: dict[str, list[Any]] = dict(COUNTS)
    counts["2020-06-15"] = [*COUNTS["2020-06-15"], "uncountable"]
    _count(desk, counts)
    text = _text(world)
    assert "Rust mites: at least " in text
    assert "so the sum is “at least”" in text


def test_a_round_of_one_bag_leaves_no_upper_limit(desk: Desk, world: World) -> None:
    _count(desk, COUNTS | {"2020-07-06": [7]})
    text = _text(world)
    assert "or more, no upper limit) mite-days per leaf" in text


def test_tissues_are_never_added_together(desk: Desk, world: World) -> None:
    _count(desk, {"2020-05-01": [3, 4, 5, 6]}, tissue="shoot", position="")
    _count(desk, COUNTS)
    text = _text(world)
    assert "On shoots" in text
    assert "Only the round of 1 May 2020 has figures" in text
    assert "from 1 June 2020 to 29 June 2020" in text


def test_stages_of_the_other_scale_carry_a_caution(desk: Desk, world: World) -> None:
    _count(desk, COUNTS, growth_stage="EL 33")
    text = _text(world)
    assert "EL 33, berries hard and green" in text
    assert "from memory: compare them with the published chart" in text


def test_a_grower_sees_own_blocks_only(world: World) -> None:
    url = reverse("block-season", args=[world.slug, world.blocks[1].uuid])
    assert world.client("grower").get(url).status_code == 404


def test_the_block_page_leads_here(world: World) -> None:
    url = reverse("block", args=[world.slug, world.block.uuid])
    page = world.client("grower").get(url).content.decode()
    assert reverse("block-season", args=[world.slug, world.block.uuid]) in page


def test_the_page_takes_few_queries(
    desk: Desk,
    world: World,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    _count(desk, COUNTS)
    Station(world).take(weather_csv(*[(11.0, 25.0)] * 90, first=date(2020, 4, 5)))
    url = reverse("block-season", args=[world.slug, world.block.uuid])
    client = world.client("consultant")
    with django_assert_max_num_queries(18):
        assert client.get(url).status_code == 200
