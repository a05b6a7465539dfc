"""Make, put off and withdraw plans of rounds, and set how often rounds are walked."""

from datetime import date, datetime
from uuid import uuid4

from django.contrib.gis.geos import Point
from django.db import IntegrityError, transaction

from blocks.access import PLANNERS, Member, Role, require
from blocks.errors import ConflictError
from blocks.models import Block
from monitoring.models import CalendarFeed, RoundPlan, RoundSetting, SamplePoint
from monitoring.planning.errors import PlanError
from monitoring.planning.proposing import Proposal


@transaction.atomic
def make_plan(member: Member, proposal: Proposal, *, now: datetime) -> RoundPlan:
    """Store a plan with its points."""
    require(member, PLANNERS)
    what, where = proposal.what, proposal.where
    made = RoundPlan(
        farm_group=member.farm_group,
        block=what.block,
        planned_on=what.planned_on,
        tissue=what.tissue,
        growth_scale=what.growth[0],
        growth_code=what.growth[1],
        organism=what.organism,
        aim=what.aim,
        basis=what.basis,
        minutes_per_bag=what.minutes_per_bag,
        boundary=where.boundary,
        method=where.method,
        same_as=where.same_as,
        seed=where.seed,
        buffer_m=where.buffer_m,
        strata=[[position, number] for position, number in proposal.strata],
        planned_at=now,
        planned_by=member.user,
    )
    if where.rows:
        made.row_direction_deg = where.rows.direction_deg
        made.row_spacing_m = where.rows.row_spacing_m
        made.vine_spacing_m = where.rows.vine_spacing_m
    _save(made)
    _store_points(made, proposal)
    return made


def _store_points(plan: RoundPlan, proposal: Proposal) -> None:
    SamplePoint.objects.bulk_create(
        SamplePoint(
            farm_group=plan.farm_group,
            plan=plan,
            number=one.number,
            drawn=one.drawn,
            position=one.position,
            point=Point(one.longitude, one.latitude, srid=4326),
        )
        for one in proposal.drawn.points
    )


def _save(plan: RoundPlan, *, only: list[str] | None = None) -> None:
    try:
        with transaction.atomic():
            plan.save(update_fields=only)
    except IntegrityError as error:
        if "monitoring_roundplan_one_a_day" not in str(error):
            raise
        raise PlanError(
            "A round of this tissue is planned for this block and day already. Choose"
            " another day, or withdraw the other plan.",
            field="planned_on",
        ) from error


@transaction.atomic
def put_off(member: Member, plan: RoundPlan, *, to: date) -> RoundPlan:
    """Move a plan to another day; its vines stay."""
    held = _held(member, plan)
    held.planned_on = to
    _save(held, only=["planned_on"])
    return held


@transaction.atomic
def withdraw_plan(member: Member, plan: RoundPlan, *, now: datetime) -> RoundPlan:
    """Say that a plan will not be walked; it stays to be seen."""
    held = _held(member, plan)
    held.withdrawn_at, held.withdrawn_by = now, member.user
    held.save(update_fields=["withdrawn_at", "withdrawn_by"])
    return held


def _held(member: Member, plan: RoundPlan) -> RoundPlan:
    require(member, PLANNERS)
    held: RoundPlan = (
        RoundPlan.objects.for_group(member.group_id).select_for_update().get(pk=plan.pk)
    )
    if held.withdrawn_at is not None:
        raise ConflictError("This plan was withdrawn. Plan the round anew.")
    return held


@transaction.atomic
def set_habits(
    member: Member,
    *,
    block: Block | None,
    interval_days: int | None,
    minutes_per_bag: float | None = None,
    now: datetime,
) -> None:
    """Set how often the group, or one block, is walked; None for not set."""
    require(member, {Role.COORDINATOR})
    RoundSetting.objects.update_or_create(
        farm_group=member.farm_group,
        block=block,
        defaults={
            "interval_days": interval_days,
            "minutes_per_bag": minutes_per_bag,
            "changed_at": now,
            "changed_by": member.user,
        },
    )


@transaction.atomic
def make_calendar_address(member: Member, *, now: datetime) -> CalendarFeed:
    """Make a member's calendar address; an earlier one ends."""
    feed, _ = CalendarFeed.objects.update_or_create(
        farm_group=member.farm_group,
        membership=member.membership,
        defaults={"secret": uuid4(), "made_at": now},
    )
    return feed
