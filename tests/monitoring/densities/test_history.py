"""What earlier rounds tell of clumping is told of like with like, and only of them."""

from datetime import date

import pytest

from blocks.tenancy import stating
from monitoring.densities.history import PooledHistory, pooled_k_history
from monitoring.estimation import fit_negative_binomial
from monitoring.models import Bag, Organism, Tally
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db

COUNTS = [0, 30, 90, 150, 210, 60, 120, 240, 3, 0, 11, 95]
LATE = date(2027, 1, 1)


def _rows(day: str, counts: list[int], **values: object) -> list[str]:
    return [
        bag_row(bag=number, collected_on=day, rust_mites=count, **values)
        for number, count in enumerate(counts)
    ]


def _history(world: World, *, before: date = LATE, tissue: str = "leaf",
             blocks: list[int] | None = None) -> PooledHistory:  # fmt: skip
    with stating(world.group.pk):
        mites = Organism.objects.get(farm_group=world.group, code="rust_mites")
        return pooled_k_history(
            world.group.pk,
            tissue=tissue,
            organism_id=mites.pk,
            before=before,
            block_ids=blocks,
        )


def test_each_round_has_its_own_k_and_there_is_one_for_all(
    desk: Desk, world: World
) -> None:
    other = [count // 3 for count in COUNTS]
    rows = _rows("2026-07-01", COUNTS) + _rows("2026-07-15", other)
    desk.publish(desk.upload(bag_sheet(*rows)))
    found = _history(world)
    assert [one.collected_on for one in found.rounds] == [
        date(2026, 7, 1),
        date(2026, 7, 15),
    ]
    for one, counts in zip(found.rounds, (COUNTS, other), strict=True):
        assert one.fit.k == pytest.approx(fit_negative_binomial(counts).k, rel=1e-4)
        assert len(one.bags) == len(COUNTS)
    assert found.together is not None
    ks = sorted(one.fit.k for one in found.rounds)
    assert ks[0] <= found.together.common_k <= ks[1]
    assert not found.is_enough


def test_only_rounds_before_the_day_of_enough_bags_and_the_tissue(
    desk: Desk, world: World
) -> None:
    rows = _rows("2026-07-01", COUNTS)
    rows += _rows("2026-07-15", COUNTS[:9])
    rows += _rows("2026-08-01", COUNTS)
    rows += _rows("2026-07-08", COUNTS, tissue="bud", position="")
    desk.publish(desk.upload(bag_sheet(*rows)))
    with stating(world.group.pk):
        Bag.objects.filter(tissue="bud").update(units=5)
    found = _history(world, before=date(2026, 8, 1))
    assert [one.collected_on for one in found.rounds] == [date(2026, 7, 1)]
    assert found.too_few_bags == 1
    buds = _history(world, tissue="bud")
    assert [(one.units, one.exposures[0]) for one in buds.rounds] == [(5, 5.0)]
    assert buds.rounds[0].fit.mean == pytest.approx(sum(COUNTS) / len(COUNTS) / 5)


def test_only_the_blocks_named(desk: Desk, world: World) -> None:
    rows = _rows("2026-07-01", COUNTS)
    rows += _rows("2026-07-02", COUNTS, block="Block 1")
    desk.publish(desk.upload(bag_sheet(*rows)))
    assert len(_history(world).rounds) == 2
    found = _history(world, blocks=[world.blocks[1].pk])
    assert [one.block_name for one in found.rounds] == ["Block 1"]


def test_each_bag_counts_with_its_own_share(desk: Desk, world: World) -> None:
    """Half the dish looked at: k stays, the mean doubles."""
    rows = _rows("2026-07-01", COUNTS)
    desk.publish(desk.upload(bag_sheet(*rows)))
    whole = _history(world).rounds[0].fit
    with stating(world.group.pk):
        Tally.objects.filter(organism__code="rust_mites").update(
            scope="random_cells", cells_counted=104, proportion_counted=0.5
        )
    half = _history(world).rounds[0].fit
    assert half.k == pytest.approx(whole.k, rel=1e-5)
    assert half.mean == pytest.approx(2 * whole.mean)


def test_rounds_without_an_animal_tell_nothing(desk: Desk, world: World) -> None:
    desk.publish(desk.upload(bag_sheet(*_rows("2026-07-01", [0] * 12))))
    found = _history(world)
    assert found.rounds == ()
    assert found.together is None
    assert _history(world, blocks=[]).together is None
