"""Word what is printed on a bag's label."""

from monitoring.labels.codes import printed
from monitoring.labels.printing import Label
from monitoring.models import Bag, Round
from monitoring.words import several


def label_of(bag: Bag, of_round: Round, url: str) -> Label:
    """Give a bag's label: its code in two groups, block, farm, day, what is in it."""
    tissue = f"{bag.units} {several(bag.tissue)}" if bag.units > 1 else bag.tissue
    day = of_round.collected_on
    return Label(
        url=url,
        code=printed(bag.label),
        lines=(
            of_round.block.name,
            of_round.block.farm.name,
            f"{day.day} {day:%b %Y}, bag {bag.code}",
            f"{tissue}, {bag.position}" if bag.position else tissue,
        ),
    )
