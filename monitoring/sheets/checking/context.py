"""What the farm group knows, as far as checking a sheet needs it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitoring.sheets.columns import ORGANISM_SYNONYMS, normal_name


@dataclass(frozen=True, slots=True)
class DishInfo:
    """A dish: its key, and the area in mm2 of each of its cells by name."""

    key: int
    name: str
    cell_areas_mm2: Mapping[str, float]
    area_mm2: float

    @property
    def cells(self) -> int:
        """How many cells touch the dish."""
        return len(self.cell_areas_mm2)


@dataclass(frozen=True, slots=True)
class Context:
    """Everything a checker may look up.

    organisms: key by code. organism_headings: code by every accepted heading.
    blocks: keys of blocks by normal name, each with its farm's normal name.
    members: user key by normal name and by e-mail.
    answers: the person's answers by question key.
    """

    today: date
    zone: ZoneInfo
    organisms: Mapping[str, int]
    organism_headings: Mapping[str, str]
    dishes: Mapping[str, DishInfo]
    usual_dish: DishInfo | None
    blocks: Mapping[str, tuple[tuple[str, int], ...]]
    members: Mapping[str, int]
    lowest_score: int
    highest_score: int
    answers: Mapping[str, str] = field(default_factory=dict)
    epoch_1904: bool | None = None
    decimal_comma: bool = False
    may_add_organisms: bool = False
    first_round_on: date | None = None
    hidden_rows: frozenset[int] = frozenset()
    # Codes of the organisms that are predators: fewer of them are plausible.
    predators: frozenset[str] = frozenset()
    # Whether fields are split at commas, so that a decimal comma tears one in two.
    splits_at_commas: bool = False
    # Ranges of merged cells by the rows that they cover.
    merged_rows: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    # Rows of a workbook whose formulas came without a value, with their columns.
    broken_cells: Mapping[int, tuple[str, ...]] = field(default_factory=dict)


class TypedTally(NamedTuple):
    """One organism's count in one row."""

    organism_id: int
    scope: str
    cells_counted: int | None
    proportion: float
    outcome: str
    counted: int | None
    cells: list[str] | None


class TypedRow(NamedTuple):
    """One row of the bag layout, understood."""

    number: int
    block_id: int
    collected_on: date
    code: str
    tissue: str
    position: str
    units: int
    growth_scale: str
    growth_code: str
    symptom_score: int | None
    note: str
    wash: int
    washed_on: date | None
    alcohol_percent: float | None
    volume_ml: float | None
    shake_s: float | None
    analyst_id: int | None
    analyst_name: str
    dish_id: int | None
    dish_number: int
    reading: int
    scorer_id: int | None
    scorer_name: str
    scored_on: date | None


class TypedBlank(NamedTuple):
    """One row of the layout of blank washes, understood."""

    number: int
    code: str
    washed_on: date
    after_code: str
    block_id: int | None
    collected_on: date | None
    wash: int
    dish_id: int | None
    analyst_id: int | None
    analyst_name: str
    note: str


class TypedCell(NamedTuple):
    """One row of the cell layout, understood."""

    number: int
    code: str
    organism_id: int
    cell: str
    counted: int
    wash: int
    dish_number: int
    reading: int


def organism_headings(named: Mapping[str, str]) -> dict[str, str]:
    """Map accepted headings to organism codes, from names by code."""
    synonyms = {
        synonym: code for code in named for synonym in ORGANISM_SYNONYMS.get(code, ())
    }
    headings = {normal_name(name): code for code, name in named.items()}
    # What the group itself has named goes before the list of further names.
    return synonyms | headings | {code: code for code in named}
