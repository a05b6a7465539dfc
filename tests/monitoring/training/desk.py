"""Make reference dishes and count them, for tests."""

from blocks.access import Member, member_for
from blocks.tenancy import stating
from monitoring.models import Dish, Organism, ReferenceDish, ReferenceReading
from monitoring.services.training import (
    AskedDish,
    AskedOrganism,
    hand_in,
    make_reference,
)
from tests.builders import World

LOOKS = {"rust_mites": "wedge", "predatory_mites": "pear", "thrips": "long"}


def member(world: World, role: str = "lab") -> Member:
    return member_for(world.people[role], world.slug)


def draw(
    world: World,
    asked: dict[str, int],
    *,
    seed: int = 1,
    role: str = "lab",
    magnification: float = 20,
    cells: int | None = 20,
) -> ReferenceDish:
    """Draw a dish of about so many of each organism."""
    with stating(world.group.pk):
        organisms = Organism.objects.filter(farm_group=world.group)
        wanted = AskedDish(
            dish=Dish.objects.get(farm_group=world.group, is_usual=True),
            magnification=magnification,
            organisms=[
                AskedOrganism(organism=one, look=LOOKS[one.code], asked=asked[one.code])
                for one in organisms
                if one.code in asked
            ],
            clumping="some",
            debris="usual",
            cells=cells,
        )
        return make_reference(member(world, role), wanted, seed=seed)


def truth_of(world: World, reference: ReferenceDish) -> dict[str, int]:
    with stating(world.group.pk):
        return {
            one.organism.code: one.number_to_find
            for one in reference.contents.select_related("organism")
        }


def count(
    world: World, reference: ReferenceDish, counts: dict[str, int], role: str = "lab"
) -> ReferenceReading:
    """Hand in somebody's counts."""
    with stating(world.group.pk):
        organisms = {
            one.code: one for one in Organism.objects.filter(farm_group=world.group)
        }
        return hand_in(
            member(world, role),
            reference,
            {organisms[code]: number for code, number in counts.items()},
        )
