"""Make reference dishes, keep what was counted of them, withdraw them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.utils import timezone

from blocks.access import Member
from blocks.errors import ConflictError, SiteError
from blocks.models import User
from monitoring.estimation import cell_order
from monitoring.models import (
    Dish,
    Organism,
    ReferenceContent,
    ReferenceCount,
    ReferenceDish,
    ReferenceReading,
    SeniorCounter,
)
from monitoring.training.errors import TrainingError
from monitoring.training.fields import animals_in, parts_a_side, serpentine
from monitoring.training.scene import ScenePlan, lay_out, numbers_about


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedOrganism:
    """An organism to draw: how, and about how many in the whole dish."""

    organism: Organism
    look: str
    asked: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedDish:
    """What a reference dish is to be like; no number of cells is the whole dish."""

    dish: Dish
    magnification: float
    organisms: Sequence[AskedOrganism]
    clumping: str
    debris: str
    cells: int | None = None


def scene_plan(
    like: AskedDish | ReferenceDish, numbers: Sequence[tuple[str, int]], *, seed: int
) -> ScenePlan:
    """Say how a dish is laid out in which there are so many of each look."""
    dish = like.dish
    return ScenePlan(
        inner_diameter_mm=dish.inner_diameter_mm,
        pitch_mm=dish.pitch_mm,
        offset_mm=(dish.offset_x_mm, dish.offset_y_mm),
        numbers=tuple(numbers),
        clumping=like.clumping,
        debris=like.debris,
        seed=seed,
        parts_a_side=parts_a_side(dish.pitch_mm, like.magnification),
    )


def plan_of(reference: ReferenceDish) -> ScenePlan:
    """Say how a reference dish was laid out, from what is kept of it."""
    numbers = [(one.look, one.number) for one in reference.contents.all()]
    return scene_plan(reference, numbers, seed=reference.seed)


@transaction.atomic
def make_reference(member: Member, asked: AskedDish, *, seed: int) -> ReferenceDish:
    """Draw a dish in which there is about what was asked, and keep what there is."""
    numbers = numbers_about([one.asked for one in asked.organisms], seed=seed)
    looks = [one.look for one in asked.organisms]
    plan = scene_plan(asked, list(zip(looks, numbers, strict=True)), seed=seed)
    try:
        scene = lay_out(plan)
    except TrainingError as error:
        raise SiteError(str(error)) from error
    grid = plan.grid
    cells: tuple[str, ...] = ()
    if asked.cells is not None:
        cells = serpentine(grid, cell_order(grid.cell_names, seed=seed)[: asked.cells])
    to_find = animals_in(scene.animals, grid, cells or grid.cell_names)
    reference = ReferenceDish.objects.create(
        farm_group=member.farm_group,
        dish=asked.dish,
        magnification=asked.magnification,
        seed=seed,
        clumping=asked.clumping,
        debris=asked.debris,
        cells=list(cells),
        made_by=member.user,
    )
    ReferenceContent.objects.bulk_create(
        ReferenceContent(
            farm_group=member.farm_group,
            reference=reference,
            organism=one.organism,
            look=one.look,
            asked=one.asked,
            number=number,
            number_to_find=to_find.get(one.look, 0),
        )
        for one, number in zip(asked.organisms, numbers, strict=True)
    )
    return reference


@transaction.atomic
def hand_in(
    member: Member, reference: ReferenceDish, counts: Mapping[Organism, int]
) -> ReferenceReading:
    """Keep what a member counted of a reference dish, once and for all."""
    if not reference.stands:
        raise ConflictError("This dish was withdrawn; nobody need count it.")
    try:
        with transaction.atomic():
            reading = ReferenceReading.objects.create(
                farm_group=member.farm_group,
                reference=reference,
                reader=member.user,
                magnification=reference.magnification,
            )
    except IntegrityError as error:
        raise ConflictError(
            "You have counted this dish already, and it has shown you what is in it."
        ) from error
    ReferenceCount.objects.bulk_create(
        ReferenceCount(
            farm_group=member.farm_group,
            reading=reading,
            organism=organism,
            count=count,
        )
        for organism, count in counts.items()
    )
    return reading


@transaction.atomic
def withdraw_reference(member: Member, reference: ReferenceDish, *, why: str) -> None:
    """Let a reference dish count no more; it stays to be seen, with who and why."""
    changed = (
        ReferenceDish.objects.for_group(member.group_id)
        .filter(pk=reference.pk, withdrawn_at=None)
        .update(
            withdrawn_at=timezone.now(),
            withdrawn_by=member.user,
            withdrawn_why=why.strip(),
        )
    )
    if not changed:
        raise ConflictError("This reference dish was withdrawn already.")


def choose_senior(member: Member, person: User | None) -> SeniorCounter:
    """Hold recounts against one person's, or against the other reader's."""
    return SeniorCounter.objects.create(
        farm_group=member.farm_group, person=person, chosen_by=member.user
    )
