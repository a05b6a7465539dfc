"""What a bench's device keeps, as it is sent: plain values, and never a count."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from hashlib import sha256
from typing import Any

from blocks.access import Member
from monitoring.densities.inputs import recovery_value
from monitoring.estimation import BetaRecovery
from monitoring.figures.dish import draw_dish
from monitoring.models import Bag, Dish, Organism, Recovery, SymptomScale, WashProtocol
from monitoring.queries.bench_kit import MOST_BAGS, CountedDish, Kit

SCHEMA = 1
# Of the two-stage rule: standard error over total, and the first stage's cells.
WANTED_CV, PILOT_CELLS = 0.15, 10
SET_DIGITS = 12
PROTOCOL = (
    *("alcohol_low_percent", "alcohol_high_percent", "volume_low_ml"),
    *("volume_high_ml", "shake_low_s", "shake_high_s", "piece_low_cm"),
    *("piece_high_cm", "rinses", "note"),
)


@dataclass(frozen=True, slots=True)
class Told:
    """What the request itself tells: the page's version, the token, the time."""

    page_version: str
    csrf_token: str
    now: datetime


def kit_told(member: Member, kit: Kit, told: Told) -> dict[str, Any]:
    """Write a kit as a device keeps it."""
    organisms = kit.laboratory.organisms
    group, user = member.farm_group, member.user
    return {
        "schema": SCHEMA,
        "page_version": told.page_version,
        "server_time": told.now.isoformat(),
        "csrf_token": told.csrf_token,
        "group": {"slug": group.slug, "name": group.name, "zone": group.time_zone},
        "person": {
            "id": str(user.uuid),
            "name": user.name,
            "role": str(member.role),
        },
        "organisms": [_organism(one) for one in organisms],
        "organism_set": organism_set([str(one.uuid) for one in organisms]),
        "wanted_cv": WANTED_CV,
        "pilot_cells": PILOT_CELLS,
        "dishes": [_dish(dish) for dish in kit.laboratory.dishes],
        "scale": _scale(kit.laboratory.symptom_scale),
        "protocol": _protocol(kit.protocol),
        "recoveries": [_recovery(row) for row in kit.laboratory.recoveries],
        "bags": _bags(kit),
        "bags_cut": (
            f"Only the newest {MOST_BAGS} bags are kept on a device." if kit.cut else ""
        ),
    }


def organism_set(uuids: list[str]) -> str:
    """Name a set of organisms in its order by a short digest."""
    return sha256("\n".join(uuids).encode()).hexdigest()[:SET_DIGITS]


def _organism(one: Organism) -> dict[str, Any]:
    return {
        "id": str(one.uuid),
        "code": one.code,
        "name": one.name,
        "role": one.role,
        "position": one.position,
    }


def _dish(dish: Dish) -> dict[str, Any]:
    offset = (dish.offset_x_mm, dish.offset_y_mm)
    area, cells = _cells(dish.inner_diameter_mm, dish.pitch_mm, offset)
    return {
        "id": str(dish.uuid),
        "name": dish.name,
        "inner_diameter_mm": dish.inner_diameter_mm,
        "pitch_mm": dish.pitch_mm,
        "offset_mm": offset,
        "is_usual": dish.is_usual,
        "area_mm2": area,
        "cells": cells,
    }


@lru_cache(maxsize=64)
def _cells(
    diameter: float, pitch: float, offset: tuple[float, float]
) -> tuple[float, list[dict[str, Any]]]:
    """Give a dish's area and its cells, each by the centre of its whole square."""
    drawing = draw_dish(inner_diameter_mm=diameter, pitch_mm=pitch, offset_mm=offset)
    left = min(cell.x_mm for cell in drawing.cells)
    top = min(cell.y_mm for cell in drawing.cells)
    cells = [
        {
            "name": cell.name,
            "column": round((cell.x_mm - left) / pitch),
            "row": round((cell.y_mm - top) / pitch),
            "area_mm2": cell.area_mm2,
            "x_mm": cell.x_mm + pitch / 2,
            "y_mm": cell.y_mm + pitch / 2,
        }
        for cell in drawing.cells
    ]
    return drawing.area_cm2 * 100, cells


def _scale(scale: SymptomScale | None) -> dict[str, Any] | None:
    if scale is None:
        return None
    return {
        "lowest": scale.lowest,
        "highest": scale.highest,
        "levels": scale.levels,
        "wording": scale.wording,
    }


def _protocol(protocol: WashProtocol) -> dict[str, Any]:
    values = {name: getattr(protocol, name) for name in PROTOCOL}
    return {**values, "is_common_practice": protocol.is_common_practice}


def _recovery(row: Recovery) -> dict[str, Any]:
    value = recovery_value(row)
    if isinstance(value, BetaRecovery):
        low, high = value.interval()
        middle = value.median
        words = f"{middle:.2f} ({low:.2f} to {high:.2f})"
    else:
        middle = low = high = float(value)
        words = f"{middle:g}"
    return {
        "organism": str(row.organism.uuid),
        "tissue": row.tissue,
        "median": middle,
        "low": low,
        "high": high,
        "words": f"{words}, {row.get_origin_display()}",
    }


def _bags(kit: Kit) -> list[dict[str, Any]]:
    washes: dict[int, list[int]] = defaultdict(list)
    for bag_id, number in kit.washes:
        washes[bag_id].append(number)
    walks = _walk_orders(kit.bags)
    counted = _counted_by_bag(kit.counted)
    return [
        {
            "id": str(bag.uuid),
            "label": bag.label,
            "code": bag.code,
            "tissue": bag.tissue,
            "position": bag.position,
            "units": bag.units,
            "way": bag.way,
            "round": {
                "id": str(bag.round.uuid),
                "block": bag.round.block.name,
                "farm": bag.round.block.farm.name,
                "collected_on": bag.round.collected_on.isoformat(),
            },
            "point": list(bag.point.coords) if bag.point else None,
            "walk_order": walks.get(bag.pk),
            "washes": washes[bag.pk],
            "counted": counted[bag.pk],
        }
        for bag in kit.bags
    ]


def _walk_orders(bags: list[Bag]) -> dict[int, int]:
    """Count each round's bags that have a point, made in walking order, from 1."""
    seen: dict[int, int] = defaultdict(int)
    orders = {}
    for bag in sorted(bags, key=lambda bag: bag.pk):
        if bag.point:
            seen[bag.round_id] += 1
            orders[bag.pk] = seen[bag.round_id]
    return orders


def _counted_by_bag(rows: list[CountedDish]) -> dict[int, list[dict[str, Any]]]:
    dishes: dict[tuple[int, int, int], list[str]] = defaultdict(list)
    for row in rows:
        dishes[row.bag_id, row.wash, row.dish_number].append(row.organism)
    by_bag: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for (bag_id, wash, number), organisms in dishes.items():
        by_bag[bag_id].append(
            {"wash": wash, "dish_number": number, "organisms": organisms}
        )
    return by_bag
