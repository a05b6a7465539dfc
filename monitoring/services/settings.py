"""Change how a farm group's laboratory counts and corrects."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Max
from django.utils.text import slugify

from blocks.access import Member
from blocks.errors import ConflictError, SiteError
from monitoring.estimation import recovery_from_range
from monitoring.models import (
    CanopyWeight,
    Dish,
    Organism,
    RatioSetting,
    Recovery,
    SymptomScale,
    Tissue,
)
from monitoring.services.changes import (
    note_changed_rounds,
    rounds_with_organism,
    rounds_with_ratios,
    rounds_with_tissue,
)
from monitoring.services.laboratory import add_first_recoveries

# Shares are typed with two or three decimals; their sum may miss 1 by rounding.
SHARE_SLACK = 0.005
LONGEST_LEVEL = 60


class NotAllowedValueError(SiteError):
    """A value that the laboratory cannot work with."""

    code = "not-allowed-value"
    status = 422


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedRecovery:
    """What a coordinator states: a fixed value, or a range that holds 95 in 100."""

    fixed_value: float | None = None
    low: float | None = None
    high: float | None = None


def code_from_name(name: str) -> str:
    """Give the sheet column that belongs to an organism's name."""
    return slugify(name).replace("-", "_")[:40]


@transaction.atomic
def add_organism(
    member: Member, *, name: str, role: Organism.Role, code: str = ""
) -> Organism:
    """Add an organism to count, with the recoveries used until it has its own."""
    code = code or code_from_name(name)
    mine = Organism.objects.for_group(member.group_id)
    if not code or not code[0].isalpha() or code.endswith("_cells"):
        raise NotAllowedValueError(
            f"“{name}” gives no column name for sheets. Begin with a letter, and do"
            " not end with “cells”."
        )
    if mine.filter(code=code).exists():
        raise ConflictError(f"There is already an organism with the column {code}.")
    last = mine.aggregate(last=Max("position"))["last"]
    organism = Organism.objects.create(
        farm_group=member.farm_group,
        code=code,
        name=name.strip(),
        role=role,
        position=0 if last is None else last + 1,
    )
    add_first_recoveries(organism)
    return organism


@transaction.atomic
def change_organism(organism: Organism, *, name: str, role: Organism.Role) -> Organism:
    """Give an organism another name or role; its column stays as it is.

    Another role makes other predator ratios, so its rounds are due again.
    """
    another_role = organism.role != role
    organism.name = name.strip()
    organism.role = role
    organism.save(update_fields=["name", "role"])
    if another_role:
        group_id = organism.farm_group_id
        note_changed_rounds(group_id, rounds_with_organism(group_id, organism))
    return organism


@transaction.atomic
def add_dish(
    member: Member,
    *,
    name: str,
    diameter_mm: float,
    pitch_mm: float,
    offset_mm: tuple[float, float],
) -> Dish:
    """Describe a dish; the first one of a group is its usual one."""
    mine = Dish.objects.for_group(member.group_id)
    if mine.filter(name__iexact=name.strip()).exists():
        raise ConflictError(
            f"There is already a dish named {name}. A dish that was used keeps its"
            " description; give the new one another name."
        )
    return Dish.objects.create(
        farm_group=member.farm_group,
        name=name.strip(),
        inner_diameter_mm=diameter_mm,
        pitch_mm=pitch_mm,
        offset_x_mm=offset_mm[0],
        offset_y_mm=offset_mm[1],
        is_usual=not mine.exists(),
    )


@transaction.atomic
def make_usual(dish: Dish) -> None:
    """Let sheets that name no dish mean this one."""
    Dish.objects.for_group(dish.farm_group_id).filter(is_usual=True).update(
        is_usual=False
    )
    Dish.objects.for_group(dish.farm_group_id).filter(pk=dish.pk).update(is_usual=True)


@transaction.atomic
def state_recovery(
    member: Member,
    *,
    organism: Organism,
    tissue: Tissue,
    stated: StatedRecovery,
    valid_from: date,
    note: str,
) -> Recovery:
    """Use another recovery for rounds from a date on; densities follow."""
    alpha = beta = None
    if stated.fixed_value is None:
        if (
            stated.low is None
            or stated.high is None
            or not (0 < stated.low < stated.high < 1)
        ):
            raise NotAllowedValueError(
                "Give either one fixed recovery, or a range whose lower end is above"
                " 0 and below its upper end, which is below 1 (such as 0.8 to 0.9)."
            )
        fitted = recovery_from_range(stated.low, stated.high)
        alpha, beta = fitted.a, fitted.b
    recovery = Recovery.objects.create(
        farm_group=member.farm_group,
        organism=organism,
        tissue=tissue,
        alpha=alpha,
        beta=beta,
        fixed_value=stated.fixed_value,
        origin=Recovery.Origin.STATED,
        note=note.strip(),
        valid_from=valid_from,
        created_by=member.user,
    )
    note_changed_rounds(
        member.group_id,
        rounds_with_tissue(member.group_id, tissue=tissue, since=valid_from),
    )
    return recovery


@transaction.atomic
def set_canopy_weights(
    member: Member, *, shares: Mapping[str, float], valid_from: date
) -> None:
    """State which share of the leaves stands in each position, from a date on."""
    if abs(sum(shares.values()) - 1) > SHARE_SLACK:
        raise NotAllowedValueError(
            f"The shares add up to {sum(shares.values()):g}; they must add up to 1."
        )
    CanopyWeight.objects.for_group(member.group_id).filter(
        valid_from=valid_from
    ).delete()
    CanopyWeight.objects.bulk_create(
        CanopyWeight(
            farm_group=member.farm_group,
            position=position,
            share=share,
            valid_from=valid_from,
        )
        for position, share in shares.items()
    )
    note_changed_rounds(
        member.group_id,
        rounds_with_tissue(member.group_id, tissue=Tissue.LEAF, since=valid_from),
    )


@transaction.atomic
def state_shared_recoveries(
    member: Member, *, shared: bool, note: str, valid_from: date
) -> RatioSetting:
    """State whether predators and prey come off alike, for rounds from a date on."""
    stated = RatioSetting.objects.create(
        farm_group=member.farm_group,
        recoveries_shared=shared,
        note=note,
        valid_from=valid_from,
        created_by=member.user,
    )
    note_changed_rounds(
        member.group_id, rounds_with_ratios(member.group_id, since=valid_from)
    )
    return stated


def set_symptom_scale(
    member: Member,
    *,
    lowest: int,
    highest: int,
    level_names: Sequence[str],
    wording: str,
    valid_from: date,
) -> None:
    """Judge symptoms on another scale from a date on."""
    if lowest >= highest:
        raise NotAllowedValueError("The lowest score must be below the highest.")
    _look_at_names(level_names, scores=highest - lowest + 1)
    SymptomScale.objects.update_or_create(
        farm_group=member.farm_group,
        valid_from=valid_from,
        defaults={
            "lowest": lowest,
            "highest": highest,
            "level_names": list(level_names),
            "wording": wording,
        },
    )


def _look_at_names(names: Sequence[str], *, scores: int) -> None:
    if names and len(names) != scores:
        raise NotAllowedValueError(
            f"There are {scores} scores and {len(names)} names. Give each score a name,"
            " one a line, or none of them."
        )
    if not all(names):
        raise NotAllowedValueError("One of the names is empty.")
    if len({name.casefold() for name in names}) < len(names):
        raise NotAllowedValueError("Two scores have the same name.")
    if any(len(name) > LONGEST_LEVEL for name in names):
        raise NotAllowedValueError(
            f"A score's name has up to {LONGEST_LEVEL} signs. Put more under “How to"
            " judge”."
        )
