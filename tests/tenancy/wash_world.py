"""A protocol and a batch for worlds that need one of everything."""

from datetime import date
from typing import Any

from blocks.access import member_for
from monitoring.models import Bag, Round
from monitoring.services.washing import Washed, enter_batch, state_protocol
from tests.builders import World


def give_wash(world: World) -> dict[str, Any]:
    """State a protocol, and wash the round's bags once more; the group is stated."""
    name = world.group.name
    coordinator = member_for(world.people["coordinator"], world.slug)
    state_protocol(coordinator, note=f"{name} note", valid_from=date(2026, 1, 1))
    visit = Round.objects.get(farm_group=world.group)
    washed = Washed(
        number=2,
        washed_on=date(2026, 8, 16),
        alcohol_percent=35,
        volume_ml=50,
        shake_s=20,
        analyst_name=f"{name} analyst",
        note=f"{name} note",
    )
    bags = Bag.objects.filter(round=visit).values_list("pk", flat=True)
    lab = member_for(world.people["lab"], world.slug)
    return {"wash_batch": enter_batch(lab, visit, list(bags), washed)}
