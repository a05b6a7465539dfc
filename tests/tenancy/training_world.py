"""A reference dish for worlds that need one of everything, counted by those who may."""

from typing import Any

from blocks.access import member_for
from monitoring.models import Dish, Organism
from monitoring.services.training import (
    AskedDish,
    AskedOrganism,
    choose_senior,
    hand_in,
    make_reference,
    withdraw_reference,
)
from tests.builders import World


def give_reference(world: World) -> dict[str, Any]:
    """Draw a dish, have it counted twice, and withdraw it; the group is stated."""
    lab = member_for(world.people["lab"], world.slug)
    coordinator = member_for(world.people["coordinator"], world.slug)
    organism = Organism.objects.get(farm_group=world.group, code="rust_mites")
    asked = AskedDish(
        dish=Dish.objects.get(farm_group=world.group),
        magnification=20,
        organisms=[AskedOrganism(organism=organism, look="wedge", asked=400)],
        clumping="some",
        debris="little",
        cells=12,
    )
    reference = make_reference(lab, asked, seed=7)
    for member in (lab, coordinator):
        hand_in(member, reference, {organism: 20})
    withdraw_reference(lab, reference, why=f"{world.group.name} reason")
    choose_senior(coordinator, world.people["lab"])
    return {"reference": reference}
