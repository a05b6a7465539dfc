"""A block's page says first what a person would say over the phone."""

import json
import re
from datetime import date
from html import unescape
from typing import Any

import pytest
from django.contrib.gis.geos import Point

from blocks.tenancy import stating
from monitoring.estimation import StoredPosterior
from monitoring.models import Density, Ratio, RoundChange
from monitoring.words import figure, in_hundred, prey_per_predator
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import Season, set_mite_threshold, settle

pytestmark = pytest.mark.django_db


def _newest(world: World, code: str = "rust_mites") -> Density:
    with stating(world.group.pk):
        found: Density = (
            Density.objects.filter(is_current=True, stratum="", organism__code=code)
            .select_related("round")
            .order_by("-round__collected_on")[0]
        )
    return found


def _json(text: str, element: str) -> Any:
    found = re.search(rf'<script id="{element}"[^>]*>(.*?)</script>', text)
    assert found is not None
    return json.loads(found[1])


def test_the_sentence_gives_density_chance_predators_and_ratio(season: Season) -> None:
    set_mite_threshold(season.world, 100)
    mites = _newest(season.world)
    with stating(season.world.group.pk):
        ratio = Ratio.objects.get(round=mites.round_id, is_current=True)
    chance = StoredPosterior(tuple(mites.quantiles)).chance_above(100)
    words = in_hundred(chance)
    text = season.text("block", "grower")
    sentence = text[text.index('class="sentence"') :].split("</p>")[0]
    assert (
        f"Rust mites about {figure(mites.median)} per leaf ({figure(mites.low)} to"
        f" {figure(mites.high)}). {words[0].upper()}{words[1:]} that this is above"
        " your 100." in sentence
    )
    assert "Predatory mites about " in sentence
    assert (
        f"Predatory mites to rust mites: one to {prey_per_predator(ratio.median)}"
        in sentence
    )


def test_each_figure_leads_to_its_working(season: Season) -> None:
    text = season.text("block")
    with stating(season.world.group.pk):
        figures = list(Density.objects.filter(is_current=True, stratum=""))
        figures += list(Ratio.objects.filter(is_current=True))
    assert len(figures) == 8
    for one in figures:
        assert str(one.uuid) in text


def test_the_chart_has_a_point_a_round_and_the_threshold(season: Season) -> None:
    set_mite_threshold(season.world, 100)
    chart = _json(season.text("block"), "figure-leaf")
    mites = _newest(season.world)
    trace = chart["data"][0]
    assert trace["x"] == ["2026-08-01", "2026-08-14"]
    assert trace["y"][1] == mites.median
    assert trace["y"][1] + trace["error_y"]["array"][1] == pytest.approx(mites.high)
    assert [shape["y0"] for shape in chart["layout"]["shapes"]] == [100]
    assert "threshold 100" in [note["text"] for note in chart["layout"]["annotations"]]


def test_waiting_bags_are_said(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i) for i in range(3)]
    rows += [bag_row(bag=i, rust_mites="", predatory_mites="", thrips="") for i in "xy"]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    assert "3 of 5 bags counted." in Season(world).text("block")


def test_a_bag_that_waits_for_one_organism_is_told_once(
    desk: Desk, world: World
) -> None:
    rows = [bag_row(bag=i) for i in range(3)]
    rows.append(bag_row(bag="x", rust_mites=""))
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    assert "3 of 4 bags counted." in Season(world).text("block")


def test_a_block_without_counts_says_what_is_missing(world: World) -> None:
    answer = world.client("lab").get(world.url(f"blocks/{world.block.uuid}/"))
    text = answer.content.decode()
    assert "No bag of this block was counted yet." in text
    assert world.url("sheets/") in text
    grower = world.client("grower").get(world.url(f"blocks/{world.block.uuid}/"))
    assert world.url("sheets/") not in grower.content.decode()


def test_nothing_found_is_an_upper_limit_not_a_zero(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i, rust_mites=0, predatory_mites=0) for i in range(6)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    text = Season(world).text("block")
    assert "Rust mites none found; up to" in text
    assert "Neither prey nor predators found." in text


def test_an_uncountable_bag_makes_it_at_least(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i, rust_mites=40 + i, predatory_mites=1 + i) for i in range(5)]
    rows.append(bag_row(bag=9, rust_mites="uncountable"))
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    season = Season(world)
    text = season.text("block")
    assert "Rust mites at least" in text
    assert ", of the bags that could be counted." in text
    assert "uncountable ones are left out" in season.text("ratio")


def test_each_tissue_has_its_own_part(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i, tissue="bud", position="", units=10) for i in range(4)]
    rows = [row.replace("2026-08-1", "2026-03-1") for row in rows]
    rows += [bag_row(bag=i) for i in range(4)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    text = Season(world).text("block")
    assert text.index('class="sentence"') < text.index("On buds")
    assert _json(text, "figure-bud")["data"][0]["x"] != []


def test_bags_with_a_place_are_points_on_the_map(season: Season) -> None:
    world = season.world
    with stating(world.group.pk):
        bag = _newest(world).round.bags.get(code="3")
        bag.point = Point(10.0005, 45.0005, srid=4326)
        bag.save()
    data = _json(season.text("block"), "block-map-data")
    assert data["bags"] == [
        {
            "code": "3",
            "position": "mid",
            "lon": 10.0005,
            "lat": 45.0005,
            "washed_off": 150.0,
        }
    ]


SOON, SLOWLY = 'hx-trigger="every 2s"', 'hx-trigger="every 10s"'


def _asked_again(season: Season, text: str) -> Any:
    """Ask as htmx does for an open page."""
    found = re.search(r'hx-get="([^"]+)"', text)
    assert found is not None
    return season.world.client("consultant").get(
        unescape(found[1]), headers={"HX-Request": "true"}
    )


@pytest.mark.parametrize(
    ("page", "part"), [("block", "block-figures"), ("group", "block-list")]
)
def test_an_open_page_changes_only_when_there_is_something_new(
    season: Season, page: str, part: str
) -> None:
    world = season.world
    text = season.text(page)
    assert SLOWLY in text
    assert _asked_again(season, text).status_code == 204
    with stating(world.group.pk):
        round_id = _newest(world).round_id
        RoundChange.objects.create(farm_group=world.group, round_id=round_id)
    started = _asked_again(season, text)
    text = started.content.decode()
    assert text.lstrip().startswith(f'<div id="{part}"')
    assert "<html" not in text
    assert SOON in text
    assert _asked_again(season, text).status_code == 204
    settle(world)
    done = _asked_again(season, text).content.decode()
    assert SLOWLY in done
    assert _asked_again(season, done).status_code == 204


def test_a_sheet_under_way_keeps_the_page_asking(season: Season) -> None:
    world = season.world
    desk = Desk(world)
    row = bag_row(bag="new", collected_on="2026-08-20", washed_on="2026-08-21")
    sheet = desk.upload(bag_sheet(row))
    assert SLOWLY in season.text("block")
    with stating(world.group.pk):
        sheet.state = sheet.State.PUBLISHING
        sheet.save()
    open_page = season.text("block")
    assert SOON in open_page
    with stating(world.group.pk):
        sheet.state = sheet.State.CHECKED
        sheet.save()
    desk.publish(sheet)
    settle(world)
    text = " ".join(_asked_again(season, open_page).content.decode().split())
    assert _json(text, "figure-leaf")["data"][0]["x"][-1] == "2026-08-20"
    assert _newest(world).round.collected_on == date(2026, 8, 20)
