"""Published counts go in through the site's own door and come out as published.

Source: Bliss & Fisher 1953, Biometrics 9:176-200: adult female European red mites on
150 apple leaves; frequencies as stored in the R packages DDPM (`data_mites`) and VGAM
(`appletree`). Sample mean 1.1467 and k 1.0246 by maximum likelihood.
"""

from datetime import date

import pytest
from django.db import transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.densities.samples import samples_of_rounds
from monitoring.densities.store import compute_changed
from monitoring.estimation import fit_negative_binomial
from monitoring.models import Density, Organism, Tissue
from monitoring.services.settings import (
    StatedRecovery,
    add_organism,
    state_recovery,
)
from tests.builders import World
from tests.desks import Desk

FREQUENCIES = {0: 70, 1: 38, 2: 17, 3: 10, 4: 9, 5: 3, 6: 2, 7: 1}

pytestmark = pytest.mark.django_db


def apple_sheet() -> bytes:
    counts = [count for count, leaves in FREQUENCIES.items() for _ in range(leaves)]
    rows = [
        f"{number},Block 0,2026-07-01,leaf,mid,{count},"
        for number, count in enumerate(counts, start=1)
    ]
    header = "bag,block,collected_on,tissue,position,red_mites,red_mites_cells"
    return "\n".join([header, *rows]).encode()


def test_apple_leaf_counts_give_their_published_mean_and_k(world: World) -> None:
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        mites = add_organism(member, name="red mites", role=Organism.Role.PEST)
        state_recovery(
            member,
            organism=mites,
            tissue=Tissue.LEAF,
            stated=StatedRecovery(fixed_value=1.0),
            valid_from=date(1900, 1, 1),
            note="counted on the leaf itself",
        )
    desk = Desk(world)
    desk.publish(desk.upload(apple_sheet()))
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density = Density.objects.get(is_current=True)
        (sample,) = samples_of_rounds(world.group.pk, [density.round_id])
    assert density.organism_id == mites.pk
    assert density.bags_used == 150
    assert density.sample_mean == pytest.approx(1.1467, abs=5e-5)
    fit = fit_negative_binomial([bag.animals for bag in sample.counted])
    assert fit.k == pytest.approx(1.0246, abs=5e-5)
    assert density.low is not None
    assert density.sample_mean is not None
    assert density.high is not None
    assert density.low < density.sample_mean < density.high
    page = world.client("grower").get(world.url(f"densities/{density.uuid}/"))
    shown = page.content.decode()
    assert "1.1467" in shown
    assert "1.0246" in shown
