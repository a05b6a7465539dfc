"""The demo's counts: what was true must come out of them again, within sampling."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from math import log10

import numpy as np
import pytest
import shapely
from shapely.geometry import shape

from deploy.demo.almanac import TOURS
from deploy.demo.laboratory import DENSE, WASHED_OFF, Seen, usual_dish
from deploy.demo.places import BLOCKS, FARM_NAMES, boundary
from deploy.demo.rounds import (
    BAG_K,
    SampledBag,
    SampledRound,
    fresh_rounds,
    history,
    position_factors,
)
from deploy.demo.season import ORGANISMS

ROUNDS = history()
LEAF_ROUNDS = [one for one in ROUNDS if one.tissue == "leaf"]


def _bags(rounds: list[SampledRound]) -> Iterator[tuple[SampledRound, SampledBag]]:
    for sampled in rounds:
        for bag in sampled.bags:
            yield sampled, bag


def _proportion(seen: Seen) -> float:
    dish = usual_dish()
    return len(seen.cells) / len(dish.cell_names) if seen.cells else 1.0


def _expanded(seen: Seen) -> float:
    assert seen.count is not None
    return seen.count / _proportion(seen)


def test_the_same_seed_gives_the_same_rounds_and_another_seed_others() -> None:
    tour = TOURS[-1:]
    again = [one for one in history(20) if (one.season, one.day) >= (1, tour[0].day)]
    mine = [one for one in ROUNDS if (one.season, one.day) >= (1, tour[0].day)]
    assert again == mine
    other = [one for one in history(21) if (one.season, one.day) >= (1, tour[0].day)]
    assert other != mine


def test_rounds_hold_ten_to_twenty_bags_with_codes_of_their_own() -> None:
    for sampled in ROUNDS:
        assert 10 <= len(sampled.bags) <= 20
        assert len({bag.code for bag in sampled.bags}) == len(sampled.bags)


def test_two_seasons_run_from_buds_over_shoots_to_leaves() -> None:
    for season in (0, 1):
        tissues = [one.tissue for one in TOURS if one.season == season]
        assert [tissue for tissue, _ in groupby(tissues)] == ["bud", "shoot", "leaf"]


def test_leaves_have_a_position_and_other_tissues_none() -> None:
    for sampled, bag in _bags(list(ROUNDS)):
        assert (bag.position in {"mid", "upper"}) == (sampled.tissue == "leaf")


@dataclass(frozen=True)
class Sums:
    expanded: float
    expected: float
    standard_error: float


def _sums(rounds: list[SampledRound], organism: str) -> Sums:
    expanded, expected, variance = 0.0, 0.0, 0.0
    for sampled, bag in _bags(rounds):
        seen = bag.readings[0].seen[organism]
        if seen.count is None:
            continue
        factor = position_factors(organism)[bag.position]
        mean = sampled.truth[organism] * factor
        recovery = WASHED_OFF[sampled.tissue][0]
        expanded += _expanded(seen) / recovery
        expected += mean
        # Negative binomial between bags; counting and washing add a little.
        variance += mean + mean**2 / BAG_K["leaf"][organism] * 1.2
    return Sums(expanded, expected, float(np.sqrt(variance)))


@pytest.mark.parametrize("organism", ORGANISMS)
def test_counts_expand_to_the_truth(organism: str) -> None:
    sums = _sums(LEAF_ROUNDS, organism)
    assert abs(sums.expanded - sums.expected) < 3 * sums.standard_error
    # And that is a sharp test: the standard error is a few parts in a hundred.
    assert sums.standard_error < 0.08 * sums.expected


def test_pooled_bags_stand_for_the_canopy() -> None:
    """Positions are sampled in proportion, so a plain mean is not pulled up."""
    weight = np.mean(
        [position_factors("rust_mites")[bag.position] for _, bag in _bags(LEAF_ROUNDS)]
    )
    assert weight == pytest.approx(1.0, abs=0.01)


def test_upper_leaves_carry_more_rust_mites_and_fewer_predators() -> None:
    for organism, more in (("rust_mites", True), ("predatory_mites", False)):
        factors = position_factors(organism)
        assert (factors["upper"] > factors["mid"]) == more


@pytest.mark.parametrize("organism", ["rust_mites", "thrips"])
def test_clumping_is_that_of_the_stated_k(organism: str) -> None:
    """Var = m + m^2/k (Fisher 1941), the means being known here."""
    excess, squares = 0.0, 0.0
    for sampled, bag in _bags(LEAF_ROUNDS):
        mean = sampled.truth[organism] * position_factors(organism)[bag.position]
        if mean < 2:
            continue
        # Each bag weighs the same whatever its mean.
        excess += ((bag.on_tissue[organism] - mean) ** 2 - mean) / mean**2
        squares += 1
    assert squares > 250
    assert squares / excess == pytest.approx(BAG_K["leaf"][organism], rel=0.2)


def test_a_wash_brings_off_the_stated_share() -> None:
    for tissue, (share, _) in WASHED_OFF.items():
        shares = [
            bag.washed_off["rust_mites"] / bag.on_tissue["rust_mites"]
            for sampled, bag in _bags(list(ROUNDS))
            if sampled.tissue == tissue
            and bag.on_tissue["rust_mites"] > 20
            and bag.wash is not None
        ]
        error = np.std(shares) / np.sqrt(len(shares))
        assert abs(np.mean(shares) - share) < 3 * error


def test_dense_dishes_are_counted_by_ten_to_twenty_cells() -> None:
    names = set(usual_dish().cell_names)
    by_number, by_name = 0, 0
    for _, bag in _bags(list(ROUNDS)):
        for reading in bag.readings:
            seen = reading.seen["rust_mites"]
            dense = bag.washed_off["rust_mites"] > DENSE
            assert dense == bool(seen.cells or seen.uncountable)
            if seen.cells:
                assert 10 <= len(seen.cells) <= 20
                assert set(seen.cells) <= names
                assert sum(seen.cell_counts) == seen.count
                by_name += seen.named
                by_number += not seen.named
    assert by_number > 50
    assert by_name > 50


def test_predators_and_thrips_are_counted_in_the_whole_dish() -> None:
    for _, bag in _bags(list(ROUNDS)):
        for organism in ("predatory_mites", "thrips"):
            assert bag.readings[0].seen[organism].cells == ()


def test_some_bags_are_recounted_some_uncountable_and_some_not_counted() -> None:
    bags = [bag for _, bag in _bags(list(ROUNDS))]
    recounted = sum(len(bag.readings) == 2 for bag in bags) / len(bags)
    assert 0.03 < recounted < 0.07
    first = [bag.readings[0].seen for bag in bags]
    assert 3 <= sum(seen["rust_mites"].uncountable for seen in first) <= 30
    assert 10 <= sum(seen["thrips"].count is None for seen in first) <= 80
    waiting = [bag for bag in bags if bag.wash is None]
    assert len(waiting) == 2


def test_symptoms_follow_what_feeds_on_the_leaf() -> None:
    # Of the farm where both scar; the other farms have causes of their own, below.
    bags = [
        bag
        for sampled, bag in _bags(LEAF_ROUNDS)
        if sampled.block.farm == FARM_NAMES[0]
    ]
    assert {bag.symptoms for bag in bags} == {0, 1, 2, 3, 4}

    def mean_score(chosen: list[SampledBag]) -> float:
        return float(np.mean([bag.symptoms for bag in chosen]))

    def feeding(bag: SampledBag, organism: str) -> int:
        return bag.on_tissue[organism]

    bare = [
        bag for bag in bags if not feeding(bag, "rust_mites") + feeding(bag, "thrips")
    ]
    mites = [bag for bag in bags if feeding(bag, "rust_mites") > 300]
    scarred = [
        bag
        for bag in bags
        if feeding(bag, "rust_mites") < 3 and feeding(bag, "thrips") > 8
    ]
    assert mean_score(bare) < 0.5
    assert mean_score(mites) > 2.0
    # Thrips scar leaves much as rust mites do (common practice).
    assert mean_score(scarred) > 1.0


def test_bags_lie_inside_their_block() -> None:
    areas = {
        block.name: shape({"type": "MultiPolygon", "coordinates": boundary(block)})
        for block in BLOCKS
    }
    # Coordinates are rounded to 7 decimals, about a centimetre.
    areas = {name: area.buffer(2e-7) for name, area in areas.items()}
    for sampled in (*ROUNDS[:40], *fresh_rounds()):
        points = np.array([bag.point for bag in sampled.bags])
        area = areas[sampled.block.name]
        assert shapely.contains_xy(area, *points.T).all()


def test_each_farm_has_its_own_cause_of_damage() -> None:
    """Rust mites scar on the second farm, thrips on the third, both on the first."""

    def steps(farm: str, organism: str, other: str) -> float:
        bags = [
            bag
            for sampled, bag in _bags(LEAF_ROUNDS)
            if sampled.block.farm == farm and bag.on_tissue[other] < 3
        ]
        scores = [float(bag.symptoms or 0) for bag in bags]
        counts = [log10(1 + bag.on_tissue[organism]) for bag in bags]
        return float(np.polyfit(counts, scores, 1)[0])

    first, second, third = FARM_NAMES
    assert steps(first, "rust_mites", "thrips") > 0.5
    assert steps(first, "thrips", "rust_mites") > 0.5
    assert steps(second, "rust_mites", "thrips") > 0.5
    assert steps(second, "thrips", "rust_mites") < 0.2
    assert steps(third, "thrips", "rust_mites") > 0.5
    assert steps(third, "rust_mites", "thrips") < 0.4
