"""Read how a farm group's laboratory works."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.shortcuts import get_object_or_404

from blocks.models import FarmGroup
from monitoring.models import (
    CanopyWeight,
    Dish,
    Organism,
    RatioSetting,
    Recovery,
    SymptomScale,
)


@dataclass(frozen=True, slots=True)
class Laboratory:
    """Everything on the laboratory's page."""

    organisms: list[Organism]
    dishes: list[Dish]
    recoveries: list[Recovery]
    canopy_weights: list[CanopyWeight]
    symptom_scale: SymptomScale | None
    ratio_setting: RatioSetting | None


def laboratory_of(farm_group: FarmGroup, *, on: date) -> Laboratory:
    """Read organisms, dishes, and what is in force on a date; 6 queries."""
    group_id = farm_group.pk
    recoveries = (
        Recovery.objects.for_group(group_id)
        .filter(valid_from__lte=on)
        .select_related("organism")
        .order_by("organism_id", "tissue", "-valid_from", "-pk")
        .distinct("organism_id", "tissue")
    )
    weights = list(
        CanopyWeight.objects.for_group(group_id)
        .filter(valid_from__lte=on)
        .order_by("-valid_from", "-share")
    )
    return Laboratory(
        organisms=list(Organism.objects.for_group(group_id).order_by("position")),
        dishes=list(Dish.objects.for_group(group_id).order_by("-is_usual", "name")),
        recoveries=sorted(
            recoveries, key=lambda row: (row.organism.position, row.tissue)
        ),
        canopy_weights=[
            row for row in weights if row.valid_from == weights[0].valid_from
        ],
        symptom_scale=scale_on(group_id, on),
        ratio_setting=RatioSetting.objects.for_group(group_id)
        .filter(valid_from__lte=on)
        .order_by("-valid_from", "-pk")
        .first(),
    )


def scale_on(farm_group_id: int, day: date) -> SymptomScale | None:
    """Give the symptom scale in force on a day; 1 query."""
    return (
        SymptomScale.objects.for_group(farm_group_id)
        .filter(valid_from__lte=day)
        .order_by("-valid_from")
        .first()
    )


def organism_for(farm_group: FarmGroup, organism_uuid: UUID) -> Organism:
    """Give one of the group's organisms, or Http404; 1 query."""
    found: Organism = get_object_or_404(
        Organism.objects.for_group(farm_group.pk), uuid=organism_uuid
    )
    return found


def dish_for(farm_group: FarmGroup, dish_uuid: UUID) -> Dish:
    """Give one of the group's dishes, or Http404; 1 query."""
    found: Dish = get_object_or_404(
        Dish.objects.for_group(farm_group.pk), uuid=dish_uuid
    )
    return found
