"""From a valid form to a round as it would be planned: bags, why, vines, minutes."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from blocks.access import Member
from blocks.models import Block, BlockBoundary
from monitoring.models import Organism, RoundPlan, Tissue
from monitoring.planning.drawing import (
    Draw,
    DrawnPoint,
    draw_points,
    share_out,
    taken_again,
)
from monitoring.planning.due import Habits
from monitoring.planning.errors import PlanError
from monitoring.planning.ground import Ground, Rows
from monitoring.planning.leaves import Wish, bags_needed
from monitoring.queries.effort import known_of
from monitoring.words import bags as bags_words
from monitoring.words import day

# Of a block whose vines' spacing is not known: a step, which finds the next vine.
UNKNOWN_VINE_SPACING_M = 1.0
Method = RoundPlan.Method


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """The ground that a plan draws its vines from, and how."""

    boundary: BlockBoundary
    method: str
    seed: int
    buffer_m: float
    rows: Rows | None = None
    same_as: RoundPlan | None = None

    @property
    def ground(self) -> Ground:
        """The ground in metres; PlanError where nothing is left inside the edge."""
        wkb = bytes(self.boundary.geometry.wkb)
        return Ground(wkb, buffer_m=self.buffer_m, rows=self.rows)

    @property
    def whole_ground(self) -> Ground:
        """The ground up to its edge."""
        return replace(self, buffer_m=0.0).ground


@dataclass(frozen=True, slots=True, kw_only=True)
class What:
    """What a plan takes, and what it is for."""

    block: Block
    planned_on: date
    tissue: str
    organism: Organism
    growth: tuple[str, str]
    aim: str
    basis: str
    minutes_per_bag: float


@dataclass(frozen=True, slots=True)
class Proposal:
    """A round as it would be planned."""

    what: What
    where: Where
    drawn: Draw

    @property
    def strata(self) -> list[tuple[str, int]]:
        """Bags by canopy position, in the order of the draw."""
        counts: dict[str, int] = {}
        for one in sorted(self.drawn.points, key=lambda point: point.drawn):
            counts[one.position] = counts.get(one.position, 0) + 1
        return list(counts.items())

    @property
    def bench_minutes(self) -> float:
        """How long its bags keep the bench."""
        return len(self.drawn.points) * self.what.minutes_per_bag


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """What is known of a block before anything is asked."""

    block: Block
    boundary: BlockBoundary | None
    organisms: Sequence[Organism]
    earlier: Sequence[RoundPlan]
    habits: Habits
    canopy: Mapping[str, float] = field(default_factory=dict)

    @property
    def rows(self) -> Rows | None:
        """How the vines stand, if direction and spacing of the rows are known."""
        block = self.block
        if block.row_direction_deg is None or block.row_spacing_m is None:
            return None
        spacing = block.vine_spacing_m or UNKNOWN_VINE_SPACING_M
        return Rows(block.row_direction_deg, block.row_spacing_m, spacing)


def propose(
    member: Member,
    setting: Setting,
    given: Mapping[str, Any],
    *,
    wish: Wish,
    today: date,
) -> Proposal:
    """Work a valid form out; PlanError, with its question, where it cannot be."""
    if setting.boundary is None:
        raise PlanError(
            "The block has no boundary yet, so no vine of it can be chosen. The"
            " coordinator imports boundaries."
        )
    organism = next(one for one in setting.organisms if one.code == given["organism"])
    where = _where(setting, setting.boundary, given)
    if where.same_as is not None:
        aim, basis = RoundPlan.Aim.STATED.value, _again_words(where.same_as)
        drawn = taken_again(where.whole_ground, _points_of(where.same_as))
    else:
        known = known_of(
            member,
            setting.block,
            organism=organism,
            tissue=given["tissue"],
            today=today,
        )
        needed = bags_needed(known, wish)
        aim, basis = wish.aim, needed.words
        positions = given["positions"] if given["tissue"] == Tissue.LEAF else []
        strata = share_out(needed.bags, positions, setting.canopy)
        drawn = draw_points(where.ground, strata, method=where.method, seed=where.seed)
    what = What(
        block=setting.block,
        planned_on=given["planned_on"],
        tissue=given["tissue"],
        organism=organism,
        growth=given["growth_stage"],
        aim=aim,
        basis=basis,
        minutes_per_bag=setting.habits.minutes,
    )
    return Proposal(what, where, drawn)


def _where(
    setting: Setting, boundary: BlockBoundary, given: Mapping[str, Any]
) -> Where:
    earlier = _earlier(setting, given)
    if earlier is not None:
        return Where(
            boundary=boundary,
            method=given["method"],
            seed=earlier.seed,
            buffer_m=earlier.buffer_m,
            rows=rows_of(earlier),
            same_as=earlier,
        )
    return Where(
        boundary=boundary,
        method=given["method"],
        seed=given["seed"],
        buffer_m=given["buffer_m"],
        rows=setting.rows if given.get("snapped") else None,
    )


def rows_of(plan: RoundPlan) -> Rows | None:
    """Give the rows that a plan's points were moved to."""
    direction, row, vine = (
        plan.row_direction_deg,
        plan.row_spacing_m,
        plan.vine_spacing_m,
    )
    if direction is None or row is None or vine is None:
        return None
    return Rows(direction, row, vine)


def _earlier(setting: Setting, given: Mapping[str, Any]) -> RoundPlan | None:
    if given["method"] != Method.SAME:
        return None
    found = next(one for one in setting.earlier if str(one.uuid) == given["same_as"])
    if found.tissue != given["tissue"]:
        raise PlanError(
            f"That plan was for {found.get_tissue_display()} bags, and this one is for"
            f" {given['tissue']} bags. Choose the same tissue, or draw new vines.",
            field="same_as",
        )
    return found


def _points_of(plan: RoundPlan) -> list[DrawnPoint]:
    return [
        DrawnPoint(one.number, one.drawn, one.position, one.point.x, one.point.y)
        for one in plan.points.for_group(plan.farm_group_id)
    ]


def _again_words(plan: RoundPlan) -> str:
    return (
        f"The same {bags_words(plan.bags)} from the same vines as planned for"
        f" {day(plan.planned_on)}, so that change is told from vines unlike each other."
    )
