"""What a dish counted in two stages gives to a density, and what others keep."""

import pytest

from blocks.tenancy import stating
from monitoring.densities.inputs import digest_of, settings_with_ratios, used_for
from monitoring.densities.samples import BagCount, Sample, samples_of_rounds
from monitoring.densities.store import compute_changed
from monitoring.models import Bag, Density, Organism, Round, Tally
from monitoring.pages.readings import Reading
from monitoring.queries.maps import bags_as_points
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def _publish(desk: Desk) -> None:
    rows = [
        bag_row(bag=1, rust_mites=7, washed_on=""),
        bag_row(bag=2, rust_mites=40, rust_mites_cells="12", washed_on=""),
        bag_row(bag=3, rust_mites=25, rust_mites_cells="C4 D7 E8", washed_on=""),
        bag_row(bag=4, rust_mites=0, rust_mites_cells="C4 D7 E8", washed_on=""),
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))


def _mites(world: World) -> tuple[Round, Sample]:
    of_round = Round.objects.get(farm_group=world.group)
    samples = samples_of_rounds(world.group.pk, [of_round.pk])
    mites = Organism.objects.get(code="rust_mites", farm_group=world.group)
    return of_round, next(one for one in samples if one.organism_id == mites.pk)


def _count_in_two_stages(code: str, animals: float) -> None:
    Tally.objects.filter(wash__bag__code=code, organism__code="rust_mites").update(
        pilot_cells=2, animals_in_dish=animals
    )


def test_digest_without_a_two_stage_total_is_that_of_the_shares_looked_at(
    desk: Desk, world: World
) -> None:
    """Each figure as it stands in its tally, to the last bit."""
    _publish(desk)
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        of_round, sample = _mites(world)
        by_hand = [
            BagCount(bag.pk, bag.code, bag.position, bag.units, tally.count,
                     tally.proportion_counted)
            for bag in Bag.objects.filter(round=of_round)
            for tally in Tally.objects.filter(
                wash__bag=bag, organism_id=sample.organism_id
            )
        ]  # fmt: skip
        expected = Sample(of_round.pk, "leaf", sample.organism_id, by_hand)
        settings = settings_with_ratios(world.group.pk)
        recovery = settings.recovery_on(
            of_round.collected_on, organism_id=sample.organism_id, tissue="leaf"
        )
        assert digest_of(expected, used_for(recovery, None, None)) == (
            Density.objects.get(organism_id=sample.organism_id).inputs_digest
        )


def test_count_of_a_two_stage_dish_is_taken_for_its_share_of_the_total(
    desk: Desk, world: World
) -> None:
    _publish(desk)
    with stating(world.group.pk):
        before = {bag.code: bag for bag in _mites(world)[1].counted}
        _count_in_two_stages("3", 500.0)
        of_round, sample = _mites(world)
        after = {bag.code: bag for bag in sample.counted}
        assert after["3"].proportion_counted == 25 / 500
        assert {code: after[code] for code in "124"} == {
            code: before[code] for code in "124"
        }
        tally = Tally.objects.get(animals_in_dish=500)
        assert Reading(tally).animals == pytest.approx(500)
        Bag.objects.update(point="POINT(10 45)")
        points = {
            one["code"]: one["washed_off"]
            for one in bags_as_points(
                of_round, tissue="leaf", organism_id=sample.organism_id
            )
        }
        assert points["3"] == pytest.approx(500)
        assert points["1"] == 7


def test_none_seen_in_two_stages_keeps_the_share_looked_at(
    desk: Desk, world: World
) -> None:
    _publish(desk)
    with stating(world.group.pk):
        before = {bag.code: bag for bag in _mites(world)[1].counted}
        _count_in_two_stages("4", 0.0)
        after = {bag.code: bag for bag in _mites(world)[1].counted}
        assert after["4"] == before["4"]
        tally = Tally.objects.get(animals_in_dish=0)
        assert tally.share_of_animals == tally.proportion_counted


def test_totals_of_two_dishes_add_up(desk: Desk, world: World) -> None:
    """One dish counted in two stages to 500, the other whole with 30: 530 in all."""
    rows = [
        bag_row(bag=1, rust_mites=25, rust_mites_cells="C4 D7 E8", washed_on="") + ",1",
        bag_row(bag=1, rust_mites=30, washed_on="") + ",2",
    ]
    head, *lines = bag_sheet(*rows).decode().splitlines()
    sheet = "\n".join([f"{head},dish_number", *lines, ""]).encode()
    desk.publish(desk.upload(sheet))
    with stating(world.group.pk):
        Tally.objects.filter(dish_number=1, scope="named_cells").update(
            pilot_cells=2, animals_in_dish=500.0
        )
        of_round, sample = _mites(world)
        (bag,) = sample.counted
        assert bag.animals / bag.proportion_counted == pytest.approx(530)
        Bag.objects.update(point="POINT(10 45)")
        (point,) = bags_as_points(
            of_round, tissue="leaf", organism_id=sample.organism_id
        )
        assert point["washed_off"] == pytest.approx(530)
