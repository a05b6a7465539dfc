"""Any number can be followed down to bags, cells and counts."""

from datetime import date

import pytest
from django.db import transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.models import Density, Organism, Ratio, Tissue
from monitoring.services.settings import (
    StatedRecovery,
    add_organism,
    set_canopy_weights,
    state_recovery,
)
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.densities.test_apple_leaves import apple_sheet
from tests.monitoring.pages.conftest import Season, settle

pytestmark = pytest.mark.django_db

HEADER = "bag,block,collected_on,tissue,position,rust_mites,rust_mites_cells"


def _publish(desk: Desk, *rows: str) -> Season:
    sheet = desk.upload(bag_sheet(*rows))
    assert desk.codes(sheet) == []
    desk.publish(sheet)
    settle(desk.world)
    return Season(desk.world)


def test_the_working_shows_the_published_mean_and_k(world: World) -> None:
    """Through the site's own pages and sheets, from nothing to the working.

    Source: Bliss & Fisher 1953, Biometrics 9:176-200: adult female European red mites
    on 150 apple leaves, as stored in the R packages DDPM and VGAM. Sample mean 1.1467,
    k 1.0246 by maximum likelihood with standard error 0.2759 (R's MASS::glm.nb).
    """
    coordinator = world.client("coordinator")
    added = coordinator.post(
        world.url("laboratory/organisms/add/"), {"name": "red mites", "role": "pest"}
    )
    assert added.status_code == 302
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        state_recovery(
            member,
            organism=Organism.objects.get(code="red_mites"),
            tissue=Tissue.LEAF,
            stated=StatedRecovery(fixed_value=1.0),
            valid_from=date(1900, 1, 1),
            note="counted on the leaf itself",
        )
    desk = Desk(world)
    desk.publish(desk.upload(apple_sheet()))
    settle(world)
    text = Season(world).text("density", code="red_mites")
    assert "<dd>1.1467</dd>" in text
    assert "<dd>1.0246 (standard error 0.2759)</dd>" in text
    assert "counted on the leaf itself" in text
    assert text.count("<td>mid</td>") == 150


def test_cells_dish_and_share_are_shown(desk: Desk, world: World) -> None:
    rows = ["1,Block 0,2026-08-14,leaf,mid,12,C4 D7 E2",
            "2,Block 0,2026-08-14,leaf,mid,7,10"]  # fmt: skip
    desk.publish(desk.upload("\n".join([HEADER, *rows]).encode()))
    settle(world)
    text = Season(world).text("density", "lab")
    assert "3 named cells</a> of" in text
    for cell in ("C4", "D7", "E2"):
        assert cell in text
    assert "10 random cells</a> of" in text
    assert "bags were counted in unlike parts" in text


def test_only_those_who_count_are_led_to_sheets(season: Season) -> None:
    sheets = season.world.url("sheets/")
    for role in ("lab", "coordinator"):
        main = season.text("density", role).split("<main")[1]
        assert f'href="{sheets}' in main
        assert ", row 2" in main
    for role in ("grower", "consultant"):
        assert f'href="{sheets}' not in season.text("density", role)


def test_missing_and_uncountable_bags_are_named(desk: Desk) -> None:
    text = _publish(
        desk,
        bag_row(bag="counted"),
        bag_row(bag="late", rust_mites=""),
        bag_row(bag="dense", rust_mites="uncountable"),
    ).text("density")
    assert '<td>late</td><td colspan="6">not counted yet for rust mites' in text
    assert '<td>dense</td><td colspan="6">uncountable: left out' in text
    assert "At least" in text


def test_recovery_and_its_origin_are_in_words(season: Season) -> None:
    text = season.text("density")
    assert "0.854 (0.80 to 0.90)" in text
    assert "common practice" in text


def test_an_uncorrected_tissue_says_so(desk: Desk) -> None:
    text = _publish(desk, bag_row(tissue="bud", position="")).text("density")
    assert "what was washed off, uncorrected" in text


def test_positions_have_workings_of_their_own(desk: Desk, world: World) -> None:
    rows = [bag_row(bag=i, position="mid") for i in range(4)]
    rows += [bag_row(bag=i, position="upper") for i in range(4, 7)]
    season = _publish(desk, *rows)
    assert "bags pooled" in season.text("density")
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        set_canopy_weights(
            member, shares={"mid": 0.75, "upper": 0.25}, valid_from=date(2020, 1, 1)
        )
    settle(world)
    text = season.text("density")
    assert "weighted by leaves: mid 0.75, upper 0.25" in text
    with stating(world.group.pk):
        upper = Density.objects.get(
            is_current=True, stratum="upper", organism__code="rust_mites"
        )
    assert str(upper.uuid) in text
    page = world.client("grower").get(world.url(f"densities/{upper.uuid}/"))
    assert page.content.decode().count("<td>upper</td>") == 3


def test_a_superseded_figure_can_still_be_found_and_says_so(
    desk: Desk, world: World
) -> None:
    season = _publish(desk, bag_row(bag=1))
    old = season.path()["density"]
    _publish(desk, bag_row(bag=2))
    text = world.client("grower").get(world.url(old)).content.decode()
    assert "superseded by a newer one" in text


def test_a_ratio_leads_to_its_two_densities(season: Season) -> None:
    text = season.text("ratio")
    with stating(season.world.group.pk):
        ratio = Ratio.objects.get(uuid=season.path()["ratio"].split("/")[1])
        pair = Density.objects.filter(
            round=ratio.round_id,
            organism__in=[ratio.predator_id, ratio.prey_id],
            is_current=True,
        )
        assert len(pair) == 2
        for one in pair:
            assert str(one.uuid) in text
    assert "Rank correlation" in text


def test_a_ratio_without_prey_says_why(desk: Desk) -> None:
    rows = [bag_row(bag=i, rust_mites=0, predatory_mites=1) for i in range(4)]
    assert "No prey found: there is no ratio to give." in _publish(desk, *rows).text(
        "ratio"
    )


def test_a_round_keeps_superseded_counts_in_sight(desk: Desk, world: World) -> None:
    season = _publish(desk, bag_row(rust_mites=3))
    sheet = desk.upload(bag_sheet(bag_row(rust_mites=33)))
    key = sheet.summary["questions"][0]["key"]
    desk.publish(desk.answer(sheet, **{key: "correction", "reason": "misread"}))
    settle(world)
    text = season.text("round")
    assert '<s class="muted">rust mites: 3</s>' in text
    assert "rust mites: 33" in text
    assert "misread" in text


def test_an_organism_added_without_code_is_counted_charted_and_worked(
    desk: Desk, world: World
) -> None:
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        add_organism(member, name="gall mites", role=Organism.Role.PEST)
    header = "bag,block,collected_on,tissue,position,gall_mites,predatory_mites"
    rows = [f"{i},Block 0,2026-08-14,leaf,mid,{i},1" for i in range(5)]
    desk.publish(desk.upload("\n".join([header, *rows]).encode()))
    settle(world)
    assert "Gall mites about" in Season(world).text("block", code="gall_mites")
