"""The layouts of count sheets: columns, what they hold, and other names for them.

This list is the only one: the reader, the guide on the site and the templates use it.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Layout = Literal["bags", "cells", "blanks"]
CELLS_SUFFIX = "_cells"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a layout: its name, what it holds, and further names it may have."""

    name: str
    holds: str
    example: str
    synonyms: tuple[str, ...] = ()
    required: bool = False


BAG_COLUMNS = (
    Column(
        "bag",
        "The code on the bag, unique in its round, or its label's code.",
        "12",
        ("bag_no", "bag_code", "bag_number", "bag_id", "bag_label"),
        required=True,
    ),
    Column(
        "block",
        "The block's name.",
        "Upper terrace",
        ("block_name", "parcel", "vineyard_block"),
        required=True,
    ),
    Column(
        "farm",
        "Needed only where two farms have a block of that name.",
        "",
        ("farm_name", "property"),
    ),
    Column(
        "collected_on",
        "The day the leaf was picked: 2026-08-14, or 14.08.2026 (day first).",
        "2026-08-14",
        ("collected", "date", "date_collected", "collection_date", "sampling_date"),
        required=True,
    ),
    Column(
        "tissue",
        "leaf, shoot or bud.",
        "leaf",
        ("organ", "plant_part"),
        required=True,
    ),
    Column(
        "position",
        "Canopy position; required for leaves: low, mid or upper.",
        "mid",
        ("canopy_position", "canopy"),
    ),
    Column(
        "units",
        "Leaves, shoots or buds in the bag; empty is 1.",
        "1",
        ("units_in_bag", "pieces"),
    ),
    Column(
        "growth_stage",
        "BBCH 75 or EL 33; the same in all bags of a round.",
        "BBCH 75",
        ("stage", "growthstage", "phenology"),
    ),
    Column(
        "wash",
        "1 for the first wash, 2 for a repeated one; empty is 1.",
        "1",
        ("wash_no", "wash_number"),
    ),
    Column(
        "washed_on",
        "The day of the wash.",
        "2026-08-15",
        ("washed", "wash_date", "date_washed"),
    ),
    Column(
        "alcohol_percent",
        "Strength of the alcohol, percent by volume.",
        "35",
        ("alcohol", "alcohol_pct", "alcohol_strength"),
    ),
    Column("volume_ml", "Liquid in the bag, ml.", "50", ("volume",)),
    Column(
        "shake_s",
        "Shaking time, seconds.",
        "30",
        ("shake", "shaking_s", "shake_seconds", "shaking_time_s"),
    ),
    Column(
        "dish",
        "A dish that the group has described; empty is the usual one.",
        "",
        ("dish_name",),
    ),
    Column(
        "dish_number",
        "1, 2, ... where a wash fills several dishes, a row for each; empty is 1.",
        "1",
        ("dish_no",),
    ),
    Column(
        "reading",
        "2 is a recount; empty is 1.",
        "1",
        ("reading_no",),
    ),
    Column(
        "symptoms",
        "Score on the group's scale, 0 to 4 to begin with.",
        "2",
        ("symptom", "symptom_score", "score"),
    ),
    Column(
        "scored_by",
        "Who judged the symptoms; empty is not stated.",
        "A. Analyst",
        ("scorer", "symptoms_by"),
    ),
    Column(
        "scored_on",
        "The day the symptoms were judged; empty is not stated.",
        "2026-08-14",
        ("score_date", "symptoms_on"),
    ),
    Column(
        "analyst",
        "Who counted.",
        "A. Analyst",
        ("counted_by", "counter", "analyst_name"),
    ),
    Column(
        "note",
        "Anything worth keeping.",
        "",
        ("notes", "remark", "remarks", "comment", "comments"),
    ),
)
CELL_COLUMNS = (
    Column(
        "bag",
        "The code of a bag that is known already, or its label's code.",
        "12",
        ("bag_no", "bag_code", "bag_number", "bag_id", "bag_label"),
        required=True,
    ),
    Column(
        "organism",
        "The organism's column name or its name.",
        "rust_mites",
        ("species", "taxon"),
        required=True,
    ),
    Column("cell", "The cell's name on the dish.", "H8", ("cell_name",), required=True),
    Column("count", "Animals in that cell.", "7", ("counted", "number"), required=True),
    Column(
        "wash",
        "1 for the first wash; empty is 1.",
        "1",
        ("wash_no", "wash_number"),
    ),
    Column("dish_number", "Empty is 1.", "1", ("dish_no",)),
    Column("reading", "Empty is 1.", "1", ("reading_no",)),
)
BLANK_COLUMNS = (
    Column(
        "blank",
        "The blank's code; unique on its day.",
        "B1",
        ("blank_no", "blank_code", "blank_wash"),
        required=True,
    ),
    Column(
        "washed_on",
        "The day of the blank wash: 2026-08-15, or 15.08.2026 (day first).",
        "2026-08-15",
        ("washed", "wash_date", "date_washed", "date"),
        required=True,
    ),
    Column(
        "after_bag",
        "The bag washed just before in the same vessel; empty is not known.",
        "12",
        ("previous_bag", "bag_before", "after"),
    ),
    Column(
        "block",
        "That bag's block; needed with after_bag.",
        "Upper terrace",
        ("block_name", "parcel", "vineyard_block"),
    ),
    Column(
        "farm",
        "Needed only where two farms have a block of that name.",
        "",
        ("farm_name", "property"),
    ),
    Column(
        "collected_on",
        "The day that bag was collected; needed with after_bag.",
        "2026-08-14",
        ("collected", "date_collected", "collection_date", "sampling_date"),
    ),
    Column(
        "wash",
        "Which wash of that bag; empty is 1.",
        "1",
        ("wash_no", "wash_number"),
    ),
    Column(
        "dish",
        "A dish that the group has described; empty is the usual one.",
        "",
        ("dish_name",),
    ),
    Column(
        "analyst",
        "Who counted.",
        "A. Analyst",
        ("counted_by", "counter", "analyst_name"),
    ),
    Column(
        "note",
        "Anything worth keeping.",
        "",
        ("notes", "remark", "remarks", "comment", "comments"),
    ),
)
COLUMNS: dict[Layout, tuple[Column, ...]] = {
    "bags": BAG_COLUMNS,
    "cells": CELL_COLUMNS,
    "blanks": BLANK_COLUMNS,
}


# Further names of the organisms that groups begin with, as headings and in the cell
# layout. The species are those of vineyards in the literature: Calepitrimerus vitis is
# the grape rust mite; Typhlodromus pyri a common predatory mite.
ORGANISM_SYNONYMS: dict[str, tuple[str, ...]] = {
    "rust_mites": (
        "rust_mite",
        "rustmites",
        "grape_rust_mite",
        "grape_rust_mites",
        "calepitrimerus_vitis",
        "c_vitis",
        "eriophyids",
    ),
    "predatory_mites": (
        "predatory_mite",
        "predator_mites",
        "predators",
        "phytoseiids",
        "phytoseiid_mites",
        "typhlodromus_pyri",
    ),
    "thrips": ("thrip", "thysanoptera"),
}
MARKUP = re.compile(r"</?[a-zA-Z]+>")


def normal_name(text: str) -> str:
    """Reduce a heading to what counts: no case, accents, markup, spaces or signs."""
    text = MARKUP.sub("", text)
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKC", text))
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    plain = re.sub(r"(?:[^\w%]|_)+", "_", plain.casefold())
    return plain.replace("%", "").strip("_")


def names_of(columns: Iterable[Column]) -> dict[str, str]:
    """Map every accepted heading to its column's name."""
    return {
        heading: column.name
        for column in columns
        for heading in (column.name, *column.synonyms)
    }
