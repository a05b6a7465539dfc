"""Gather what the farm group knows for checking a sheet."""

from collections import defaultdict
from datetime import date
from functools import lru_cache
from typing import Any

from django.utils import timezone

from blocks.models import Block, FarmGroup, Membership
from monitoring.estimation import DishGrid
from monitoring.models import Dish, Organism, Round, Sheet, SymptomScale
from monitoring.queries.laboratory import scale_on
from monitoring.sheets.checking.context import Context, DishInfo, organism_headings
from monitoring.sheets.columns import normal_name

DEFAULT_SCORES = (0, 4)


@lru_cache(maxsize=64)
def _cells_of(
    diameter_mm: float, pitch_mm: float, offset_mm: tuple[float, float]
) -> tuple[dict[str, float], float]:
    grid = DishGrid(
        inner_diameter_mm=diameter_mm, pitch_mm=pitch_mm, offset_mm=offset_mm
    )
    areas = dict(zip(grid.cell_names, grid.cell_areas_mm2.tolist(), strict=True))
    return areas, grid.area_mm2


def dish_info(dish: Dish) -> DishInfo:
    """Give a dish with its cells."""
    areas, area = _cells_of(
        dish.inner_diameter_mm, dish.pitch_mm, (dish.offset_x_mm, dish.offset_y_mm)
    )
    return DishInfo(dish.pk, dish.name, areas, area)


def organism_names(farm_group_id: int) -> dict[str, str]:
    """Give the names of the group's organisms by code, in their order; 1 query."""
    organisms = Organism.objects.for_group(farm_group_id).order_by("position")
    return {organism.code: organism.name for organism in organisms}


def context_for(sheet: Sheet) -> Context:
    """Gather everything a checker may look up; 6 queries."""
    group = FarmGroup.objects.get(pk=sheet.farm_group_id)
    organisms = list(Organism.objects.for_group(group.pk).order_by("position"))
    dishes = [(dish, dish_info(dish)) for dish in Dish.objects.for_group(group.pk)]
    today = timezone.localdate(timezone=group.zone)
    lowest, highest = _scores_on(group.pk, today)
    first = Round.objects.for_group(group.pk).order_by("collected_on").first()
    return Context(
        today=today,
        zone=group.zone,
        organisms={organism.code: organism.pk for organism in organisms},
        organism_headings=organism_headings(
            {organism.code: organism.name for organism in organisms}
        ),
        dishes={normal_name(dish.name): info for dish, info in dishes},
        usual_dish=next((info for dish, info in dishes if dish.is_usual), None),
        blocks=_blocks_by_name(group.pk),
        members=_members_by_name(group.pk),
        lowest_score=lowest,
        highest_score=highest,
        first_round_on=first.collected_on if first else None,
        predators=frozenset(
            organism.code
            for organism in organisms
            if organism.role == Organism.Role.PREDATOR
        ),
        **_of_the_file(sheet),
    )


def _scores_on(farm_group_id: int, day: date) -> tuple[int, int]:
    """Give the lowest and highest symptom score of the scale in force; 1 query."""
    scale = scale_on(farm_group_id, day)
    return (scale.lowest, scale.highest) if scale else DEFAULT_SCORES


def scale_for(farm_group_id: int) -> SymptomScale:
    """Give the scale on which scores are taken today; a first one where none is."""
    group = FarmGroup.objects.get(pk=farm_group_id)
    today = timezone.localdate(timezone=group.zone)
    return scale_on(farm_group_id, today) or SymptomScale.objects.create(
        farm_group_id=farm_group_id, valid_from=today
    )


def _of_the_file(sheet: Sheet) -> dict[str, Any]:
    """Give what is known of the file itself, and what the person said about it."""
    summary = sheet.summary
    broken, merged = summary.get("broken_cells", {}), summary.get("merged_rows", {})
    return {
        "answers": sheet.answers,
        "epoch_1904": summary.get("epoch_1904"),
        "decimal_comma": bool(summary.get("decimal_comma", False)),
        "splits_at_commas": summary.get("delimiter") == ",",
        "hidden_rows": frozenset(summary.get("hidden_rows", [])),
        "broken_cells": {int(row): tuple(columns) for row, columns in broken.items()},
        "merged_rows": {int(row): tuple(ranges) for row, ranges in merged.items()},
    }


def _blocks_by_name(farm_group_id: int) -> dict[str, tuple[tuple[str, int], ...]]:
    found: dict[str, list[tuple[str, int]]] = defaultdict(list)
    rows = Block.objects.for_group(farm_group_id).values_list(
        "name", "farm__name", "pk"
    )
    for name, farm, key in rows:
        found[normal_name(name)].append((normal_name(farm), key))
    return {name: tuple(pairs) for name, pairs in found.items()}


def _members_by_name(farm_group_id: int) -> dict[str, int]:
    found: dict[str, int] = {}
    rows = Membership.objects.for_group(farm_group_id).values_list(
        "user__name", "user__email", "user_id"
    )
    for name, email, key in rows:
        found[normal_name(name)] = key
        found[email.casefold()] = key
    return found
