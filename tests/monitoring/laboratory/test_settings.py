"""A coordinator says how the laboratory works; densities follow."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.http import HttpResponse
from scipy.stats import beta as beta_distribution

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import (
    CanopyWeight,
    Density,
    Dish,
    Organism,
    Ratio,
    Recovery,
    RoundChange,
    SymptomScale,
)
from tests.builders import Role, World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db

DISH: dict[str, Any] = {
    "name": "90 mm dish",
    "diameter_mm": 88,
    "pitch_mm": 8,
    "offset_x_mm": 0,
    "offset_y_mm": 0,
}


def _send(
    world: World, path: str, values: dict[str, Any], role: str = "coordinator"
) -> Any:
    return world.client(role).post(world.url(f"laboratory/{path}"), values)


def _recovery(world: World, **values: Any) -> dict[str, Any]:
    with stating(world.group.pk):
        mites = Organism.objects.get(code="rust_mites")
    usual = {
        "organism": mites.pk,
        "tissue": "leaf",
        "valid_from": "2026-01-01",
        "note": "our own washes",
    }
    return usual | values


def _in_words(answer: HttpResponse, words: str) -> None:
    assert answer.status_code == 422
    assert words in answer.content.decode()


def _publish(world: World) -> None:
    desk = Desk(world)
    rows = [
        bag_row(bag=i, rust_mites=20 + i, predatory_mites=1, thrips=2) for i in range(6)
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(world.group.pk)


CHANGES = [
    "organisms/add/",
    "dishes/add/",
    "recoveries/add/",
    "canopy-weights/",
    "symptom-scale/",
    "ratio/",
]


@pytest.mark.parametrize("role", [role.value for role in Role])
@pytest.mark.parametrize("path", CHANGES)
def test_only_a_coordinator_changes_the_laboratory(
    world: World, path: str, role: str
) -> None:
    client = world.client(role)
    expected = 200 if role == Role.COORDINATOR else 403
    assert client.get(world.url(f"laboratory/{path}")).status_code == expected
    posted = client.post(world.url(f"laboratory/{path}"), {"name": ""}).status_code
    assert posted == (422 if role == Role.COORDINATOR else 403)


@pytest.mark.parametrize(
    ("role", "status"),
    [("coordinator", 200), ("lab", 200), ("consultant", 403), ("grower", 403)],
)
def test_those_who_count_look_at_the_laboratory(
    world: World, role: str, status: int
) -> None:
    client = world.client(role)
    with stating(world.group.pk):
        dish = Dish.objects.get()
    assert client.get(world.url("laboratory/")).status_code == status
    url = world.url(f"laboratory/dishes/{dish.uuid}/")
    assert client.get(url).status_code == status


def test_another_groups_dish_and_organism_look_missing(
    make_world: Callable[..., World],
) -> None:
    mine, other = make_world(), make_world()
    with stating(other.group.pk):
        dish, organism = Dish.objects.get(), Organism.objects.all()[0]
    client = mine.client("coordinator")
    for path in (f"dishes/{dish.uuid}/", f"organisms/{organism.uuid}/"):
        assert client.get(mine.url(f"laboratory/{path}")).status_code == 404
        assert client.get(other.url(f"laboratory/{path}")).status_code == 404
    usual = f"laboratory/dishes/{dish.uuid}/usual/"
    assert client.post(mine.url(usual)).status_code == 404


def test_an_added_organism_has_a_column_and_unmeasured_recoveries(world: World) -> None:
    answer = _send(world, "organisms/add/", {"name": "Gall mites", "role": "pest"})
    assert answer.status_code == 302
    with stating(world.group.pk):
        organism = Organism.objects.get(code="gall_mites")
        origins = {row.tissue: row.origin for row in organism.recoveries.all()}
    assert organism.position == 3
    assert origins == {"leaf": "unmeasured", "shoot": "unmeasured"}
    layouts = world.client("lab").get(world.url("sheets/layouts/")).content.decode()
    assert "gall_mites_cells" in layouts


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("rust mites", "already an organism with the column rust_mites"),
        ("4 spots", "gives no column name"),
        ("mites cells", "gives no column name"),
        ("—", "gives no column name"),
        ("", "required"),
    ],
)
def test_an_organism_that_cannot_be_is_refused_in_words(
    world: World, name: str, words: str
) -> None:
    answer = _send(world, "organisms/add/", {"name": name, "role": "pest"})
    _in_words(answer, words)


def test_a_renamed_organism_keeps_its_column(world: World) -> None:
    with stating(world.group.pk):
        mites = Organism.objects.get(code="rust_mites")
    values = {"name": "leaf rust mites", "role": "pest"}
    assert _send(world, f"organisms/{mites.uuid}/", values).status_code == 302
    with stating(world.group.pk):
        mites.refresh_from_db()
    assert (mites.name, mites.code) == ("leaf rust mites", "rust_mites")


def test_another_role_changes_the_ratios(world: World) -> None:
    _publish(world)
    with stating(world.group.pk):
        assert Ratio.objects.filter(is_current=True).count() == 1
        thrips = Organism.objects.get(code="thrips")
    values = {"name": "thrips", "role": "pest"}
    assert _send(world, f"organisms/{thrips.uuid}/", values).status_code == 302
    assert compute_changed(world.group.pk) == 1
    with stating(world.group.pk):
        current = Ratio.objects.filter(is_current=True)
        assert {row.prey.code for row in current} == {"rust_mites", "thrips"}
    _send(world, f"organisms/{thrips.uuid}/", {"name": "thrips", "role": "other"})
    assert compute_changed(world.group.pk) == 1
    with stating(world.group.pk):
        assert Ratio.objects.filter(is_current=True).count() == 1


def test_a_dish_is_described_drawn_and_made_usual(world: World) -> None:
    assert _send(world, "dishes/add/", DISH).status_code == 302
    with stating(world.group.pk):
        dish = Dish.objects.get(name="90 mm dish")
    assert not dish.is_usual
    url = f"laboratory/dishes/{dish.uuid}/"
    drawing = world.client("lab").get(world.url(url)).content.decode()
    assert "<svg" in drawing
    assert ">F6</text>" in drawing
    assert _send(world, f"dishes/{dish.uuid}/usual/", {}).status_code == 302
    with stating(world.group.pk):
        assert [one.name for one in Dish.objects.filter(is_usual=True)] == [dish.name]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"diameter_mm": 5}, "greater than or equal to 20"),
        ({"pitch_mm": 200}, "200 mm is more than the dish"),
        ({"pitch_mm": 1, "diameter_mm": 500}, "cells"),
        ({"pitch_mm": "nan"}, "Enter a number"),
        ({"diameter_mm": "1e999"}, "Enter a number"),
        ({"name": "15 cm dish"}, "already a dish named"),
        ({"name": ""}, "required"),
    ],
)
def test_a_dish_that_cannot_be_is_refused_in_words(
    world: World, change: dict[str, Any], words: str
) -> None:
    _in_words(_send(world, "dishes/add/", DISH | change), words)


@pytest.mark.parametrize("offset", [-250, -3.3, 250])
def test_any_offset_can_be_drawn(world: World, offset: float) -> None:
    _send(world, "dishes/add/", DISH | {"offset_x_mm": offset, "offset_y_mm": offset})
    with stating(world.group.pk):
        dish = Dish.objects.get(name="90 mm dish")
    answer = world.client("lab").get(world.url(f"laboratory/dishes/{dish.uuid}/"))
    assert answer.status_code == 200


def test_a_fixed_recovery_moves_the_density_by_its_share(world: World) -> None:
    _publish(world)
    with stating(world.group.pk):
        old = Density.objects.get(organism__code="rust_mites", is_current=True)
    assert (
        _send(world, "recoveries/add/", _recovery(world, fixed_value=1)).status_code
        == 302
    )
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        new = Density.objects.get(organism__code="rust_mites", is_current=True)
        thrips = Density.objects.filter(organism__code="thrips")
        assert thrips.count() == 1
    assert new.sample_mean == pytest.approx(22.5)
    assert old.sample_mean == pytest.approx(22.5 / 0.8535, rel=1e-3)
    assert new.used["recovery"]["note"] == "our own washes"


def test_a_range_becomes_a_beta_that_holds_it(world: World) -> None:
    _send(world, "recoveries/add/", _recovery(world, low=0.6, high=0.8))
    with stating(world.group.pk):
        stated = Recovery.objects.get(origin="stated")
    # The range holds 95 times in 100, by SciPy's distribution function of the beta.
    assert stated.alpha is not None
    assert stated.beta is not None
    below, within = beta_distribution(stated.alpha, stated.beta).cdf([0.6, 0.8])
    assert within - below == pytest.approx(0.95, abs=1e-3)
    assert below == pytest.approx(0.025, abs=2e-3)
    assert stated.fixed_value is None


def test_rounds_before_a_recovery_keep_theirs(world: World) -> None:
    _publish(world)
    later = _recovery(world, fixed_value=0.5, valid_from="2026-08-15")
    _send(world, "recoveries/add/", later)
    with stating(world.group.pk):
        assert not RoundChange.objects.exists()
    _send(world, "recoveries/add/", later | {"valid_from": "2026-08-14"})
    with stating(world.group.pk):
        assert RoundChange.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "one value, or a range"),
        ({"fixed_value": 0.5, "low": 0.4, "high": 0.6}, "one value, or a range"),
        ({"low": 0.4}, "two ends"),
        ({"low": 0.6, "high": 0.4}, "above the lower"),
        ({"fixed_value": 0}, "greater than or equal to 0.01"),
        ({"fixed_value": 1.2}, "less than or equal to 1"),
        ({"fixed_value": "inf"}, "Enter a number"),
        ({"fixed_value": 1, "note": ""}, "required"),
        ({"fixed_value": 1, "valid_from": "lately"}, "valid date"),
        ({"fixed_value": 1, "tissue": "root"}, "valid choice"),
        ({"fixed_value": 1, "organism": 0}, "valid choice"),
    ],
)
def test_a_recovery_that_cannot_be_is_refused_in_words(
    world: World, change: dict[str, Any], words: str
) -> None:
    _in_words(_send(world, "recoveries/add/", _recovery(world) | change), words)
    with stating(world.group.pk):
        assert not Recovery.objects.filter(origin="stated").exists()


@pytest.mark.parametrize(
    ("low", "high"), [(0.01, 0.99), (0.5, 0.5001), (0.01, 0.0101), (0.98, 0.99)]
)
def test_extreme_ranges_are_taken_or_refused_but_never_fail(
    world: World, low: float, high: float
) -> None:
    answer = _send(world, "recoveries/add/", _recovery(world, low=low, high=high))
    assert answer.status_code in {302, 422}


def test_another_groups_organism_is_no_choice(make_world: Callable[..., World]) -> None:
    mine, other = make_world(), make_world()
    foreign = _recovery(other, fixed_value=1)
    _in_words(_send(mine, "recoveries/add/", foreign), "valid choice")


def test_canopy_weights_must_add_up(world: World) -> None:
    values = {"upper": 0.2, "mid": 0.5, "low": 0.2, "valid_from": "2026-01-01"}
    _in_words(_send(world, "canopy-weights/", values), "add up to 0.9")
    assert _send(world, "canopy-weights/", values | {"low": 0.3}).status_code == 302
    # A second statement for the same day takes the place of the first.
    again = values | {"upper": 0.5, "mid": 0.5, "low": 0}
    assert _send(world, "canopy-weights/", again).status_code == 302
    with stating(world.group.pk):
        shares = dict(CanopyWeight.objects.values_list("position", "share"))
    assert shares == {"upper": 0.5, "mid": 0.5, "low": 0.0}


def test_the_symptom_scale_is_that_of_the_group(world: World) -> None:
    values = {"lowest": 0, "highest": 5, "wording": "", "valid_from": "2026-01-01"}
    assert _send(world, "symptom-scale/", values).status_code == 302
    wrong = _send(world, "symptom-scale/", values | {"lowest": 5})
    _in_words(wrong, "below the highest")
    with stating(world.group.pk):
        scale = SymptomScale.objects.order_by("-valid_from").first()
    assert scale is not None
    assert (scale.highest, scale.valid_from) == (5, date(2026, 1, 1))
