"""The densities task loses nothing, repeats nothing, and computes no more than due."""

import threading
from collections.abc import Callable

import pytest
from django.db import connection

from blocks.tenancy import stating
from monitoring.densities import compute, store
from monitoring.densities.store import compute_changed
from monitoring.models import Density, DensityChange, Ratio, Round, RoundChange
from monitoring.tasks import compute_changed_densities
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


def _publish(desk: Desk, *rows: str) -> None:
    sheet = desk.upload(bag_sheet(*rows))
    assert desk.codes(sheet) == []
    desk.publish(sheet)


def _state(world: World) -> tuple[int, int, int, int]:
    with stating(world.group.pk):
        return (
            Density.objects.count(),
            Ratio.objects.count(),
            RoundChange.objects.count(),
            DensityChange.objects.count(),
        )


def _note_all_rounds(world: World) -> None:
    with stating(world.group.pk):
        for one in Round.objects.all():
            RoundChange.objects.create(farm_group=world.group, round=one)


def test_the_task_serves_every_farm_group_and_then_rests(
    make_world: Callable[..., World],
) -> None:
    worlds = make_world(), make_world()
    for world in worlds:
        _publish(Desk(world), bag_row(block=world.block.name))
    assert compute_changed_densities() == 2
    states = [_state(world) for world in worlds]
    assert states[0] == states[1]
    assert states[0][2:] == (0, 1)
    assert compute_changed_densities() == 0
    assert [_state(world) for world in worlds] == states


def test_what_has_not_changed_is_not_even_estimated(
    desk: Desk, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    _publish(desk, bag_row(bag=1), bag_row(bag=2))
    compute_changed(world.group.pk)
    before = _state(world)
    _note_all_rounds(world)

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("nothing changed")

    monkeypatch.setattr(compute, "estimate_density", refuse)
    monkeypatch.setattr(compute, "estimate_ratio", refuse)
    assert compute_changed(world.group.pk) == 1
    assert _state(world) == before


def test_a_round_left_alone_keeps_its_figures(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(), bag_row(collected_on="2026-08-01"))
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        old = set(
            Density.objects.filter(round__collected_on="2026-08-01").values_list(
                "pk", flat=True
            )
        )
    _publish(desk, bag_row(bag=2))
    assert compute_changed(world.group.pk) == 1
    with stating(world.group.pk):
        current = Density.objects.filter(
            round__collected_on="2026-08-01", is_current=True
        )
        assert set(current.values_list("pk", flat=True)) == old


def test_a_worker_that_dies_half_way_loses_nothing(
    desk: Desk, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    _publish(desk, bag_row())
    before = _state(world)

    def die(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(store, "note_new_densities", die)
        with pytest.raises(KeyboardInterrupt):
            compute_changed(world.group.pk)
    assert _state(world) == before
    assert compute_changed(world.group.pk) == 1
    assert _state(world)[2:] == (0, 1)


def test_many_rounds_go_chunk_by_chunk(
    desk: Desk, world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = [f"2026-07-{day:02}" for day in range(1, 6)]
    _publish(desk, *(bag_row(collected_on=day) for day in days))
    monkeypatch.setattr(store, "CHUNK", 2)
    done: list[int] = []
    compute_rounds = store.compute_rounds

    def counting(farm_group_id: int, round_ids: list[int]) -> list[int]:
        done.append(len(round_ids))
        return compute_rounds(farm_group_id, round_ids)

    monkeypatch.setattr(store, "compute_rounds", counting)
    assert compute_changed(world.group.pk) == 5
    assert done == [2, 2, 1]


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_workers_never_do_the_same_round(desk: Desk, world: World) -> None:
    _publish(desk, bag_row())
    found: list[int] = []

    def work() -> None:
        try:
            found.append(compute_changed(world.group.pk))
        finally:
            connection.close()

    with stating(world.group.pk):
        claimed = RoundChange.objects.select_for_update().count()
        assert list(RoundChange.objects.select_for_update())
        other = threading.Thread(target=work)
        other.start()
        other.join(timeout=30)
    assert (claimed, found) == (1, [0])
    assert compute_changed(world.group.pk) == 1


def test_strata_say_which_bags_are_theirs(desk: Desk, world: World) -> None:
    _publish(
        desk,
        bag_row(bag=1, position="mid"),
        bag_row(bag=2, position="mid", rust_mites=""),
        bag_row(bag=3, position="upper"),
        bag_row(bag=4, position="upper", rust_mites="uncountable"),
    )
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        rows = {
            row.stratum: (
                row.bags_used,
                row.bags_missing,
                row.bags_uncountable,
                row.at_least,
            )
            for row in Density.objects.filter(organism__code="rust_mites")
        }
    assert rows == {
        "": (2, 1, 1, True),
        "mid": (1, 1, 0, False),
        "upper": (1, 0, 1, True),
    }


def test_when_no_bag_can_be_counted_the_row_says_so(desk: Desk, world: World) -> None:
    _publish(desk, bag_row(rust_mites="uncountable"))
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        row = Density.objects.get(organism__code="rust_mites")
    assert (row.median, row.at_least) == (None, True)
    assert row.reason == "every bag looked at was uncountable"


def test_a_correction_makes_a_new_figure_and_keeps_the_old(
    desk: Desk, world: World
) -> None:
    _publish(desk, bag_row(rust_mites=3))
    compute_changed(world.group.pk)
    sheet = desk.upload(bag_sheet(bag_row(rust_mites=30)))
    key = sheet.summary["questions"][0]["key"]
    desk.publish(desk.answer(sheet, **{key: "correction", "reason": "misread"}))
    assert compute_changed(world.group.pk) == 1
    with stating(world.group.pk):
        rows = list(Density.objects.filter(organism__code="rust_mites").order_by("pk"))
    assert [row.is_current for row in rows] == [False, True]
    assert rows[0].sample_mean * 10 == pytest.approx(rows[1].sample_mean)
