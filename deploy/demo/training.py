"""Draw reference dishes and count them, as the demo's people would; all invented.

One analyst meets the lab's standard, the newer one has some dishes to go, and the
coordinator, who seldom counts, overlooks too many. The newest dishes wait for visitors.
"""

from collections.abc import Mapping

import numpy as np

from blocks.access import Member
from blocks.models import FarmGroup
from blocks.tenancy import stating
from deploy.demo.people import PEOPLE
from deploy.demo.replaying import as_member
from deploy.demo.rounds import SEED
from monitoring.models import Dish, Organism, ReferenceDish
from monitoring.services.training import (
    AskedDish,
    AskedOrganism,
    choose_senior,
    hand_in,
    make_reference,
)

DISHES, CELLS, MAGNIFICATION = 14, 24, 20.0
LOOKS = {"rust_mites": "wedge", "predatory_mites": "pear", "thrips": "long"}
# About how many there are of the small and of the large, from dish to dish.
ASKED = {"rust_mites": (500, 2_400), "predatory_mites": (20, 90), "thrips": (20, 90)}
# By place among the people: how many of the dishes are counted, what share of the
# animals is seen, and how unevenly (standard deviation of the logarithm).
COUNTERS = {1: (12, 0.985, 0.02), 2: (7, 0.97, 0.04), 0: (11, 0.72, 0.08)}


def load_training(group: FarmGroup, *, seed: int = SEED) -> list[ReferenceDish]:
    """Draw the dishes, let the people count theirs, and name the senior analyst."""
    rng = np.random.default_rng([seed, 91])
    with stating(group.pk):
        members = {at: as_member(group, person) for at, person in enumerate(PEOPLE[:3])}
        dishes = [_draw(members[1], rng) for _ in range(DISHES)]
        for at, (number, share, spread) in COUNTERS.items():
            for reference in dishes[:number]:
                _count(members[at], reference, rng, (share, spread))
        choose_senior(members[0], members[1].user)
    return dishes


def _draw(member: Member, rng: np.random.Generator) -> ReferenceDish:
    organisms = Organism.objects.for_group(member.group_id).filter(code__in=LOOKS)
    asked = AskedDish(
        dish=Dish.objects.for_group(member.group_id).get(is_usual=True),
        magnification=MAGNIFICATION,
        organisms=[
            AskedOrganism(
                organism=one,
                look=LOOKS[one.code],
                asked=_about(ASKED[one.code], rng),
            )
            for one in organisms
        ],
        clumping=ReferenceDish.Clumping.SOME,
        debris=ReferenceDish.Debris.USUAL,
        cells=CELLS,
    )
    return make_reference(member, asked, seed=int(rng.integers(2**62)))


def _about(between: tuple[int, int], rng: np.random.Generator) -> int:
    """Ask for a number that is even on the log scale."""
    low, high = np.log(between)
    return round(float(np.exp(rng.uniform(low, high))))


def _count(
    member: Member,
    reference: ReferenceDish,
    rng: np.random.Generator,
    care: tuple[float, float],
) -> None:
    hand_in(member, reference, _seen(reference, rng, care))


def _seen(
    reference: ReferenceDish, rng: np.random.Generator, care: tuple[float, float]
) -> Mapping[Organism, int]:
    """See most of what is there: the large nearly all, the small by care."""
    share, spread = care
    seen = {}
    for one in reference.contents.select_related("organism"):
        chance = min(share * float(np.exp(rng.normal(0, spread))), 1.0)
        if one.organism.code != "rust_mites":
            chance = chance**0.25
        seen[one.organism] = int(rng.binomial(one.number_to_find, chance))
    return seen
