"""The group's page: a list and a map that say the same, in words first."""

from dataclasses import replace
from datetime import date
from itertools import pairwise
from typing import Any

import pytest

from blocks.models import Block
from monitoring.estimation import PROBABILITIES, estimate_density
from monitoring.models import Density, Round
from monitoring.pages.group_page import (
    RAMP,
    BlockLine,
    block_lines,
    in_order,
    legend,
)
from monitoring.thresholds import ThresholdInForce
from tests.builders import World, add_block
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import Season, set_mite_threshold, settle

THRESHOLD = ThresholdInForce(
    block_id=1,
    tissue="leaf",
    organism_id=1,
    prey_id=None,
    level=150,
    clear_level=105,
    certainty=0.8,
    minimum_bags=5,
    scope="group",
    in_season=True,
)


@pytest.fixture
def three_blocks(season: Season) -> Season:
    """Beside the first block one with few mites, and one on the other farm."""
    world = season.world
    add_block(world.farms[0], "Alpha", west=11.0)
    rows = [bag_row(bag=i, block="Alpha", rust_mites=2) for i in range(6)]
    rows += [
        bag_row(
            bag=i,
            block=world.blocks[1].name,
            collected_on="2026-07-01",
            rust_mites=900 + i,
        )
        for i in range(6)
    ]
    desk = Desk(world)
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    return season


def _states(world: World, **query: str) -> dict[str, dict[str, Any]]:
    answer = world.client("consultant").get(world.url("map/"), query)
    return {row["label"].split(":")[0]: row for row in answer.json()["blocks"]}


def _order(text: str, *names: str) -> list[str]:
    listed = text[text.index('id="block-list"') :]
    return sorted(names, key=lambda name: listed.index(f">{name}</a>"))


@pytest.mark.django_db
def test_blocks_are_put_in_the_order_asked_for(three_blocks: Season) -> None:
    names = ("Block 0", "Alpha", "Block 1")
    assert _order(three_blocks.text("group"), *names) == ["Alpha", "Block 0", "Block 1"]
    by_density = three_blocks.text("group", order="density")
    assert _order(by_density, *names) == ["Block 1", "Block 0", "Alpha"]
    by_round = three_blocks.text("group", order="round")
    assert _order(by_round, *names)[-1] == "Block 1"


@pytest.mark.django_db
def test_one_farm_can_be_looked_at_alone(three_blocks: Season) -> None:
    world = three_blocks.world
    text = three_blocks.text("group", farm=str(world.farms[1].uuid))
    assert ">Block 1</a>" in text
    assert ">Alpha</a>" not in text
    assert set(_states(world, farm=str(world.farms[1].uuid))) == {"Block 1"}
    # Someone who sees one farm only is not asked which.
    assert 'name="farm"' not in three_blocks.text("group", "grower")


@pytest.mark.django_db
def test_list_and_map_say_the_same_of_an_organism_and_a_day(
    three_blocks: Season,
) -> None:
    world = three_blocks.world
    today = _states(world, organism="rust_mites")
    early = _states(world, organism="rust_mites", on="2026-07-15")
    assert early["Block 0"]["class"] is None
    assert early["Block 0"]["label"] == "Block 0: not counted yet"
    assert early["Block 1"]["class"] == today["Block 1"]["class"] == 4
    text = three_blocks.text("group")
    for state in today.values():
        assert state["label"].split(": ")[1] in text
    thrips = _states(world, organism="thrips")
    assert thrips["Block 1"]["label"] != today["Block 1"]["label"]
    assert all(row["class"] is None for row in _states(world, tissue="bud").values())


@pytest.mark.django_db
def test_a_new_sheet_changes_the_colour(three_blocks: Season) -> None:
    world = three_blocks.world
    before = _states(world)["Alpha"]
    rows = [
        bag_row(
            bag=i,
            block="Alpha",
            collected_on="2026-08-20",
            washed_on="2026-08-21",
            rust_mites=500 + 10 * i,
        )
        for i in range(6)
    ]
    desk = Desk(world)
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(world)
    after = _states(world)["Alpha"]
    assert (before["class"], after["class"]) == (1, 3)


@pytest.mark.django_db
def test_the_threshold_is_a_break_between_classes(three_blocks: Season) -> None:
    world = three_blocks.world
    text = three_blocks.text("group")
    assert "under 1 per leaf" in text
    set_mite_threshold(world, 2000)
    assert _states(world)["Block 1"]["class"] == 2
    set_lower = three_blocks.text("group")
    assert "the threshold to three times it" in set_lower


def _lines(
    counts: list[int], level: float | None, certainty: float = 0.8
) -> list[BlockLine]:
    """Put one block beside the density of some counts and a threshold."""
    estimate = estimate_density(counts)
    density = Density(
        round=Round(block_id=1, collected_on=date(2026, 8, 14)),
        tissue="leaf",
        organism_id=1,
        median=estimate.median,
        low=estimate.low,
        high=estimate.high,
        sample_mean=estimate.sample_mean,
        quantiles=estimate.quantiles_at(PROBABILITIES).tolist(),
    )
    thresholds = (
        [replace(THRESHOLD, level=level, certainty=certainty)]
        if level is not None
        else []
    )
    return block_lines([Block(pk=1, name="Block")], {1: density}, thresholds, [])


@pytest.mark.parametrize(
    ("level", "certainty", "doubtful"),
    [(10, 0.8, False), (100, 0.8, True), (2000, 0.8, False), (100, 0.4, False)],
)
def test_hatching_marks_what_is_not_settled(
    level: float, certainty: float, *, doubtful: bool
) -> None:
    """Hatched from 20 in 100 up to the threshold's own certainty."""
    (line,) = _lines([60, 90, 120, 130, 80, 140], level, certainty)
    assert line.chance_above is not None
    assert doubtful == (0.2 <= line.chance_above < certainty)
    assert line.doubtful is doubtful


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 2.0, 5.0])
def test_the_threshold_itself_is_a_class_break(share: float) -> None:
    counts = [60, 90, 120, 130, 80, 140]
    (plain,) = _lines(counts, None)
    assert plain.median is not None
    (line,) = _lines(counts, plain.median / share)
    assert line.map_class == [0.05, 0.2, 0.5, 2.0, 5.0].index(share)


def test_every_class_has_a_colour_and_a_meaning_in_words() -> None:
    with_one, without = _lines([60, 90], 100), _lines([60, 90], None)
    for lines in ([], with_one, without, with_one + without):
        entries = legend(lines, "leaf")
        assert [entry["colour"] for entry in entries] == list(RAMP)
        assert len({entry["words"] for entry in entries}) == len(RAMP)
    assert legend(without, "leaf")[0]["words"] == "under 1 per leaf"
    assert legend(with_one, "leaf")[0]["words"] == "under a tenth of the threshold"
    assert legend(with_one + without, "leaf")[4]["words"] == (
        "over three times the threshold (without one: over 1,000)"
    )


def test_the_ramp_gets_lighter_step_by_step() -> None:
    """Lightness carries the order, for colour-blind eyes and in grey.

    Source: relative luminance of WCAG 2.2.
    """

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
            for part in parts
        ]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    values = [luminance(colour) for colour in RAMP]
    assert values == sorted(values)
    assert all(later > 1.3 * first + 0.01 for first, later in pairwise(values))


def test_an_unknown_order_is_that_of_farm_and_name() -> None:
    assert in_order([], "chance") == []
    assert in_order(block_lines([], {}, [], []), "nonsense") == []
