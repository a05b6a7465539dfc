"""The demo's treatments: those of the stories, as somebody would have recorded them.

All invented, rates and operators too: nobody should take them for advice.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from deploy.demo.almanac import LAST_SEASON, THIS_SEASON
from deploy.demo.places import BLOCKS
from deploy.demo.stories import STORIES


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """How a story's kind of treatment stands in the books; classes, not products."""

    category: str
    active_ingredient: str
    rate: float
    rate_unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoTreatment:
    """One treatment of one block, in season days.

    `mistyped_rate` was recorded first, and corrected the next day.
    """

    season: int
    day: int
    farm: str
    block: str
    product: Product
    operator: str
    check: str = ""
    mistyped_rate: float | None = None


PRODUCTS = {
    "wettable sulfur": Product(
        category="sulfur",
        active_ingredient="wettable sulfur",
        rate=4.0,
        rate_unit="kg/ha",
    ),
    "horticultural oil": Product(
        category="oil",
        active_ingredient="paraffin oil",
        rate=1.5,
        rate_unit="percent",
    ),
    "acaricide": Product(
        category="acaricide",
        active_ingredient="an acaricide (invented)",
        rate=0.4,
        rate_unit="L/ha",
    ),
    "broad insecticide": Product(
        category="insecticide",
        active_ingredient="a broad insecticide (invented)",
        rate=0.3,
        rate_unit="L/ha",
    ),
}
# Neighbours of the same farm that were left untreated, by block and season.
CHECKS = {
    ("Ford Piece", LAST_SEASON): "Upper Hatch",
    ("Stony Rise", THIS_SEASON): "Thorn Corner",
    ("Wren Slope", THIS_SEASON): "Rook Slope",
    ("Lower Cleft", LAST_SEASON): "Upper Cleft",
}
OPERATORS = {
    "Tolbeck": "Ines Quorle",
    "Hesmoor": "the spray team",
    "Cindry": "the spray team",
}
# By block, season and day.
MISTYPED_RATES = {("Two Springs", THIS_SEASON, 107): 40.0}


def treatments() -> Iterator[DemoTreatment]:
    """Give every treatment of the stories, block by block."""
    for place in BLOCKS:
        for season in (LAST_SEASON, THIS_SEASON):
            for one in STORIES[place.name][season].treatments:
                yield DemoTreatment(
                    season=season,
                    day=one.day,
                    farm=place.farm,
                    block=place.name,
                    product=PRODUCTS[one.category],
                    operator=OPERATORS[place.farm],
                    check=CHECKS.get((place.name, season), ""),
                    mistyped_rate=MISTYPED_RATES.get((place.name, season, one.day)),
                )
