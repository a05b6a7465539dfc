"""Densities follow their inputs, and only their inputs."""

from datetime import date

import pytest
from django.db import transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.estimation import BetaRecovery, estimate_density, recovery_from_range
from monitoring.models import (
    Density,
    DensityChange,
    Organism,
    Ratio,
    RoundChange,
    Tissue,
)
from monitoring.services.settings import (
    StatedRecovery,
    set_canopy_weights,
    state_recovery,
)
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def _current(world: World, code: str, stratum: str = "") -> Density:
    with stating(world.group.pk):
        return Density.objects.get(
            is_current=True, organism__code=code, stratum=stratum
        )


def _publish(desk: Desk, *rows: str) -> None:
    sheet = desk.upload(bag_sheet(*rows))
    assert desk.codes(sheet) == []
    desk.publish(sheet)
    compute_changed(desk.world.group.pk)


def test_a_density_is_the_estimators_own(desk: Desk, world: World) -> None:
    counts = [0, 3, 12, 1, 0, 40, 7, 2, 0, 5]
    _publish(desk, *(bag_row(bag=i, rust_mites=x) for i, x in enumerate(counts)))
    stored = _current(world, "rust_mites")
    recovery = recovery_from_range(0.8, 0.9)
    expected = estimate_density(
        counts, recovery=BetaRecovery(recovery.a, recovery.b), model="averaged"
    )
    assert stored.median == expected.median
    assert (stored.low, stored.high) == (expected.low, expected.high)
    assert stored.used["recovery"]["origin"] == "common_practice"


def test_repeat_washes_and_recounts_do_not_make_the_density(
    desk: Desk, world: World
) -> None:
    header = "bag,block,collected_on,tissue,position,rust_mites,wash,reading"
    rows = ["1,Block 0,2026-08-14,leaf,mid,10,1,1",
            "1,Block 0,2026-08-14,leaf,mid,4,2,1",
            "1,Block 0,2026-08-14,leaf,mid,30,1,2"]  # fmt: skip
    desk.publish(desk.upload("\n".join([header, *rows]).encode()))
    compute_changed(world.group.pk)
    density = _current(world, "rust_mites")
    assert density.bags_used == 1
    assert density.sample_mean == pytest.approx(10 / 0.8535, rel=1e-3)


def test_a_wash_in_two_dishes_is_summed(desk: Desk, world: World) -> None:
    header = "bag,block,collected_on,tissue,position,dish_number,rust_mites,thrips"
    rows = ["1,Block 0,2026-08-14,leaf,mid,1,10,1",
            "1,Block 0,2026-08-14,leaf,mid,2,6,",
            "2,Block 0,2026-08-14,leaf,mid,1,4,0"]  # fmt: skip
    desk.publish(desk.upload("\n".join([header, *rows]).encode()))
    compute_changed(world.group.pk)
    mites, thrips = _current(world, "rust_mites"), _current(world, "thrips")
    assert mites.sample_mean == pytest.approx((16 + 4) / 2 / 0.8535, rel=1e-3)
    assert (thrips.bags_used, thrips.bags_missing) == (1, 1)


def test_an_uncountable_bag_makes_the_figure_at_least(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(bag=1), bag_row(bag=2, rust_mites="uncountable"))
    density = _current(world, "rust_mites")
    assert density.at_least
    assert (density.bags_used, density.bags_uncountable) == (1, 1)


def test_canopy_weights_combine_the_positions(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i, rust_mites=2, position="mid") for i in range(6)]
    rows += [bag_row(bag=i, rust_mites=100, position="upper") for i in range(6, 9)]
    _publish(desk, *rows)
    pooled = _current(world, "rust_mites")
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        set_canopy_weights(
            member,
            shares={"upper": 0.1, "mid": 0.5, "low": 0.4},
            valid_from=date(2020, 1, 1),
        )
    assert compute_changed(world.group.pk) == 1
    weighted = _current(world, "rust_mites")
    assert weighted.used["weights"] == pytest.approx({"mid": 5 / 6, "upper": 1 / 6})
    assert (weighted.sample_mean or 0) < (pooled.sample_mean or 0)
    assert _current(world, "rust_mites", "upper").bags_used == 3


def test_nothing_is_computed_again_without_a_change(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(bag=1), bag_row(bag=2))
    with stating(world.group.pk):
        before = set(Density.objects.values_list("pk", flat=True))
        DensityChange.objects.all().delete()
        round_id = Density.objects.values_list("round_id", flat=True)[0]
        RoundChange.objects.create(farm_group=world.group, round_id=round_id)
    assert compute_changed(world.group.pk) == 1
    with stating(world.group.pk):
        assert set(Density.objects.values_list("pk", flat=True)) == before
        assert not DensityChange.objects.exists()
        assert not RoundChange.objects.exists()


def test_another_recovery_supersedes_only_what_used_the_old(
    desk: Desk, world: World
) -> None:
    _publish(desk, bag_row(bag=1), bag_row(bag=2))
    thrips = _current(world, "thrips")
    mites = _current(world, "rust_mites")
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        state_recovery(
            member,
            organism=Organism.objects.get(code="rust_mites"),
            tissue=Tissue.LEAF,
            stated=StatedRecovery(fixed_value=0.5),
            valid_from=date(2026, 1, 1),
            note="a trial",
        )
    compute_changed(world.group.pk)
    assert _current(world, "thrips").pk == thrips.pk
    renewed = _current(world, "rust_mites")
    assert renewed.pk != mites.pk
    assert renewed.inputs_digest != mites.inputs_digest


def test_a_ratio_without_prey_says_so(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(bag=1, rust_mites=0, predatory_mites=2))
    with stating(world.group.pk):
        ratio = Ratio.objects.get(is_current=True)
    assert ratio.median is None
    assert ratio.reason == "no prey found"


def test_buds_stay_uncorrected_and_say_so(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(tissue="bud", position="", rust_mites=20))
    density = _current(world, "rust_mites")
    assert density.used["recovery"]["origin"] == "uncorrected"
    assert density.sample_mean == 20
