"""Which attributes of a boundary file say what of a block."""

import re
import unicodedata
from collections.abc import Mapping
from typing import Any

# Accepted names, lower case, without signs; Shapefiles cut names at ten letters.
SYNONYMS: dict[str, tuple[str, ...]] = {
    "name": ("name", "block", "block_name", "blockname", "parcel", "label", "id"),
    "farm": ("farm", "farm_name", "farmname", "property"),
    "cultivar": ("cultivar", "variety", "grape", "cultivar_n"),
    "planting_year": ("planting_year", "planting_y", "planted", "year", "plant_year"),
    "row_spacing_m": ("row_spacing_m", "row_spacin", "row_spacing", "row_space"),
    "vine_spacing_m": ("vine_spacing_m", "vine_spaci", "vine_spacing", "vine_space"),
    "row_direction_deg": (
        "row_direction_deg", "row_direct", "row_direction", "row_azimuth",
        "row_bearing",
    ),
}  # fmt: skip
RANGES = {
    "planting_year": (1700, 2200),
    "row_spacing_m": (0.1, 20),
    "vine_spacing_m": (0.1, 20),
    "row_direction_deg": (0, 360),
}


def plain(name: str) -> str:
    """Reduce an attribute's name to letters, digits and underscores."""
    text = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "_", text.casefold()).strip("_")


def facts_of(attributes: Mapping[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Read a block's facts; give what could not be read as sentences."""
    by_name = {plain(name): value for name, value in attributes.items()}
    facts: dict[str, Any] = {}
    troubles = []
    for fact, names in SYNONYMS.items():
        value = next(
            (by_name[name] for name in names if by_name.get(name) not in {None, ""}),
            None,
        )
        if value is None:
            continue
        if fact not in RANGES:
            facts[fact] = _text(value)
            continue
        number = _number(value)
        low, high = RANGES[fact]
        if number is None or not low <= number <= high:
            troubles.append(
                f"{fact} “{value}” is not a number within {low:g} to {high:g}; it was"
                " left out."
            )
            continue
        facts[fact] = number
    if "planting_year" in facts:
        facts["planting_year"] = int(facts["planting_year"])
    if "row_direction_deg" in facts:
        facts["row_direction_deg"] %= 180
    return facts, troubles


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if number == number and abs(number) < 1e9 else None  # noqa: PLR0124, PLR2004 - NaN and nonsense


def _text(value: Any) -> str:
    """Write a value as a name; spreadsheets make 12.0 of block 12."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return str(value).replace("\x00", "").strip()[:120]
