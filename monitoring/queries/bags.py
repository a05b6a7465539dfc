"""Read bags by label, those that wait, and the rounds that are incomplete."""

from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Count, Max, Min, Prefetch, Q, QuerySet
from django.http import Http404

from blocks.access import Member, visible_blocks
from monitoring.models import Bag, BagSetting, BagStep, Round, SymptomScore, Tally

Way = Bag.Way
AT_THE_LAB = (Way.COLLECTED, Way.RECEIVED, Way.WASHED)
UNDER_WAY = (Way.PLANNED, *AT_THE_LAB)
MOST_SHOWN = 200
# Bags lost longer ago are no longer looked for.
LOST_SHOWN_DAYS = 60


def setting_of(member: Member) -> BagSetting:
    """Give the group's settings for bags; the usual ones if none were made; 1 query."""
    found: BagSetting | None = BagSetting.objects.for_group(member.group_id).first()
    return found or BagSetting(farm_group=member.farm_group)


def _visible(member: Member) -> QuerySet[Bag]:
    bags: QuerySet[Bag] = (
        Bag.objects.for_group(member.group_id)
        .filter(round__block__in=visible_blocks(member))
        .select_related("round__block__farm")
    )
    return bags


def _whole(member: Member, **which: Any) -> Bag:
    steps = BagStep.objects.for_group(member.group_id).select_related("noted_by")
    tallies = (
        Tally.objects.for_group(member.group_id)
        .select_related("organism", "source_sheet", "source_reading")
        .order_by("organism__position", "dish_number", "reading", "pk")
    )
    scores = (
        SymptomScore.objects.for_group(member.group_id)
        .select_related("scale")
        .order_by("pk")
    )
    bag = (
        _visible(member)
        .filter(**which)
        .prefetch_related(
            Prefetch("steps", queryset=steps.order_by("pk")),
            "washes",
            Prefetch("washes__tallies", queryset=tallies),
            Prefetch("scores", queryset=scores),
        )
        .first()
    )
    if bag is None:
        raise Http404("No such bag.")
    return bag


def bag_for(member: Member, bag_uuid: UUID) -> Bag:
    """Give a bag of a block that the member may see, or Http404; 5 queries."""
    return _whole(member, uuid=bag_uuid)


def bag_by_label(member: Member, label: str) -> Bag:
    """Give the bag of a label that the member may see, or Http404; 5 queries."""
    return _whole(member, label=label)


def bag_seen(member: Member, bag_uuid: UUID) -> Bag | None:
    """Give a bag of a block that the member may see, or None; 1 query."""
    found: Bag | None = _visible(member).filter(uuid=bag_uuid).first()
    return found


def has_label(member: Member, label: str) -> bool:
    """Tell whether the member may see a bag with this label; 1 query."""
    return _visible(member).filter(label=label).exists()


def labelled(of_round: Round) -> list[Bag]:
    """List a round's bags that have labels and are not lost, oldest first; 1 query."""
    return list(
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .exclude(label="")
        .exclude(way=Way.LOST)
        .order_by("pk")
    )


def of_round(found: Round) -> QuerySet[Bag]:
    """List a round's bags, lost ones too, in the order in which they were made."""
    bags: QuerySet[Bag] = (
        Bag.objects.for_group(found.farm_group_id).filter(round=found).order_by("pk")
    )
    return bags


def unlabelled(of_round: Round) -> int:
    """Count a round's bags that have no label; 1 query."""
    return (
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round, label="")
        .exclude(way=Way.LOST)
        .count()
    )


def waiting(member: Member) -> QuerySet[Bag]:
    """List bags that are collected and not counted, those waiting longest first.

    `washed_on` is the day of their first wash, where one was written down;
    `washed_at` when they were marked as washed.
    """
    return (
        _visible(member)
        .filter(way__in=AT_THE_LAB)
        .annotate(
            washed_on=Min("washes__washed_on"),
            washed_at=Max("steps__noted_at", filter=Q(steps__way=Way.WASHED)),
        )
        .order_by("round__collected_on", "round_id", "pk")
    )


def missing(member: Member, *, today: date) -> QuerySet[Bag]:
    """List bags that were lost lately, or planned for a day gone by; oldest first."""
    return (
        _visible(member)
        .filter(
            Q(way=Way.PLANNED, round__collected_on__lt=today)
            | Q(
                way=Way.LOST,
                round__collected_on__gte=today - timedelta(days=LOST_SHOWN_DAYS),
            )
        )
        .order_by("round__collected_on", "round_id", "pk")
    )


def incomplete_rounds(member: Member, *, today: date) -> QuerySet[Round]:
    """List rounds up to today whose bags are not all counted or lost, oldest first.

    Each has the number of its bags by way, such as `bags_washed`, and `bags_all`
    without the lost ones.
    """
    under_way = (
        Bag.objects.for_group(member.group_id)
        .filter(way__in=UNDER_WAY)
        .values("round_id")
    )
    rounds: QuerySet[Round] = (
        Round.objects.for_group(member.group_id)
        .filter(
            pk__in=under_way,
            block__in=visible_blocks(member),
            collected_on__lte=today,
        )
        .select_related("block__farm")
        .annotate(
            bags_all=Count("bags", filter=~Q(bags__way=Way.LOST)),
            **{f"bags_{way}": Count("bags", filter=Q(bags__way=way)) for way in Way},
        )
        .order_by("collected_on", "pk")
    )
    return rounds


def coming_rounds(member: Member, *, today: date) -> QuerySet[Round]:
    """List rounds to come that have planned bags, the next one first."""
    rounds: QuerySet[Round] = (
        Round.objects.for_group(member.group_id)
        .filter(
            collected_on__gt=today,
            block__in=visible_blocks(member),
            bags__way=Way.PLANNED,
        )
        .select_related("block__farm")
        .annotate(bags_planned=Count("bags"))
        .order_by("collected_on", "pk")
    )
    return rounds


def waiting_total(member: Member) -> int:
    """Count the bags that are collected and not counted; 1 query."""
    return _visible(member).filter(way__in=AT_THE_LAB).count()
