"""Read planned rounds, what is due, and how often rounds are walked."""

from collections.abc import Mapping
from datetime import date
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from blocks.access import Member, visible_blocks
from blocks.models import Block
from monitoring.models import (
    Bag,
    CalendarFeed,
    CanopyWeight,
    Round,
    RoundPlan,
    RoundSetting,
    SamplePoint,
)
from monitoring.planning.due import BlockDue, Habits
from monitoring.planning.proposing import Setting
from monitoring.queries.maps import boundary_of
from monitoring.queries.seasons import organisms_of_group

# Plans offered for “the same vines again”.
EARLIER_OFFERED = 12


def habits_of(farm_group_id: int) -> Habits:
    """Give how often a group walks and how long its bench takes; 1 query."""
    rows = list(RoundSetting.objects.for_group(farm_group_id))
    of_group = next((row for row in rows if row.block_id is None), None)
    return Habits(
        interval_days=of_group.interval_days if of_group else None,
        minutes_per_bag=of_group.minutes_per_bag if of_group else None,
        by_block={
            row.block_id: row.interval_days
            for row in rows
            if row.block_id is not None and row.interval_days is not None
        },
    )


def standing_plans(member: Member) -> QuerySet[RoundPlan]:
    """List plans not withdrawn of blocks that a member may see, by day."""
    return (
        RoundPlan.objects.for_group(member.group_id)
        .filter(withdrawn_at=None, block__in=visible_blocks(member).order_by())
        .order_by("planned_on", "pk")
    )


def plan_for(member: Member, plan_uuid: UUID) -> RoundPlan:
    """Give a plan of a block that the member may see, or Http404; 1 query."""
    row: RoundPlan | None = (
        RoundPlan.objects.for_group(member.group_id)
        .filter(uuid=plan_uuid, block__in=visible_blocks(member).order_by())
        .select_related("block__farm", "organism", "boundary", "planned_by", "same_as")
        .first()
    )
    if row is None:
        raise Http404("No such plan.")
    return row


def setting_of(member: Member, block: Block, *, today: date) -> Setting:
    """Gather what a plan of a block is made from; 5 queries."""
    weights = CanopyWeight.objects.for_group(member.group_id).filter(
        valid_from__lte=today
    )
    newest = list(weights.order_by("-valid_from", "pk"))
    return Setting(
        block=block,
        boundary=boundary_of(block, on=today),
        organisms=list(organisms_of_group(member.group_id)),
        earlier=list(earlier_plans(block)),
        habits=habits_of(member.group_id),
        canopy={
            row.position: row.share
            for row in newest
            if row.valid_from == newest[0].valid_from
        },
    )


def earlier_plans(block: Block) -> QuerySet[RoundPlan]:
    """List a block's newest plans, whose vines may be taken again; 1 query."""
    return (
        RoundPlan.objects.for_group(block.farm_group_id)
        .filter(block=block, withdrawn_at=None)
        .order_by("-planned_on", "-pk")[:EARLIER_OFFERED]
    )


def points_of(plan: RoundPlan) -> QuerySet[SamplePoint]:
    """List a plan's points in walking order; 1 query."""
    return (
        SamplePoint.objects.for_group(plan.farm_group_id)
        .filter(plan=plan)
        .order_by("number")
    )


def plans_of_block(block: Block, *, today: date) -> QuerySet[RoundPlan]:
    """List a block's standing plans of today or later, the next one first; 1 query."""
    return (
        RoundPlan.objects.for_group(block.farm_group_id)
        .filter(block=block, withdrawn_at=None, planned_on__gte=today)
        .order_by("planned_on", "pk")
    )


def walked_round(plan: RoundPlan) -> Round | None:
    """Give the block's first round with bags brought in on or after a plan's day."""
    return (
        _walked(plan.farm_group_id)
        .filter(block=plan.block_id, collected_on__gte=plan.planned_on)
        .order_by("collected_on")
        .first()
    )


def bagged_round(plan: RoundPlan) -> Round | None:
    """Give the round of a plan's block and day if it has bags of its tissue."""
    bags = Bag.objects.for_group(plan.farm_group_id).filter(
        round=OuterRef("pk"), tissue=plan.tissue
    )
    rounds = Round.objects.for_group(plan.farm_group_id).filter(
        Exists(bags), block=plan.block_id, collected_on=plan.planned_on
    )
    return rounds.first()


def _walked(farm_group_id: int) -> QuerySet[Round]:
    """Find rounds of which a bag was brought in; planned bags are not there yet."""
    brought = (
        Bag.objects.for_group(farm_group_id)
        .filter(round=OuterRef("pk"))
        .exclude(way__in=[Bag.Way.PLANNED, Bag.Way.LOST])
    )
    rounds: QuerySet[Round] = Round.objects.for_group(farm_group_id)
    return rounds.filter(Exists(brought))


def rounds_due(member: Member, *, today: date) -> list[BlockDue]:
    """List each block that a member may see with its last and next round; 4 queries."""
    newest = (
        _walked(member.group_id)
        .filter(block=OuterRef("pk"), collected_on__lte=today)
        .order_by("-collected_on")
        .values("collected_on")[:1]
    )
    blocks = list(visible_blocks(member))
    last: dict[int, date | None] = dict(
        visible_blocks(member)
        .order_by()
        .annotate(last_walked=Subquery(newest))
        .values_list("pk", "last_walked")
    )
    habits = habits_of(member.group_id)
    plans: dict[int, list[RoundPlan]] = {}
    for plan in _plans_to_come(member, last):
        plans.setdefault(plan.block_id, []).append(plan)
    return [
        BlockDue(
            block=block,
            last_walked=last[block.pk],
            interval_days=habits.interval_of(block.pk),
            plans=plans.get(block.pk, []),
        )
        for block in blocks
    ]


def _plans_to_come(member: Member, last: Mapping[int, date | None]) -> list[RoundPlan]:
    """List standing plans of blocks on whose day, or later, none was walked."""
    walked = [day for day in last.values() if day]
    # Older plans than every block's last round need not be fetched.
    everywhere = walked and len(walked) == len(last)
    since = Q(planned_on__gt=min(walked)) if everywhere else Q()
    plans = standing_plans(member).filter(since).select_related("organism")
    return [plan for plan in plans if _is_after(plan, last.get(plan.block_id))]


def _is_after(plan: RoundPlan, walked: date | None) -> bool:
    return walked is None or plan.planned_on > walked


def feed_of(member: Member) -> CalendarFeed | None:
    """Give a member's calendar address, if one was made; 1 query."""
    return (
        CalendarFeed.objects.for_group(member.group_id)
        .filter(membership=member.membership)
        .first()
    )
