"""Read what was counted twice, blank washes, and the agreement the lab asks for."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.db.models import Prefetch, QuerySet
from django.shortcuts import get_object_or_404

from blocks.access import Member
from blocks.models import FarmGroup
from monitoring.models import (
    AgreementStandard,
    BlankCount,
    BlankWash,
    Organism,
    Round,
    Tally,
)

# The newest so many dishes that were counted again are compared.
MOST_DISHES = 2_000
MOST_BLANKS = 2_000


@dataclass(frozen=True, slots=True)
class Asked:
    """Which recounts are asked for; a year of None is all years."""

    organism: Organism
    tissue: str
    year: int | None


def counted_again(member: Member, asked: Asked) -> list[list[Tally]]:
    """Give dishes read twice or more, oldest first, each with its readings; 2 queries.

    Readings that were superseded or not countable are left out, and so is a dish
    with a single reading left.
    """
    mine = Tally.objects.for_group(member.group_id).filter(
        organism=asked.organism, state=Tally.State.PUBLISHED
    )
    recounts = mine.filter(
        reading__gt=1,
        wash__bag__tissue=asked.tissue,
    )
    if asked.year is not None:
        recounts = recounts.filter(wash__bag__round__collected_on__year=asked.year)
    newest = recounts.order_by("-pk")
    dishes = set(newest.values_list("wash_id", "dish_number")[:MOST_DISHES])
    readings = (
        mine.filter(wash__in={wash for wash, _ in dishes}, outcome="counted")
        .select_related(
            "wash__bag__round__block",
            "dish",
            "source_sheet",
            "source_reading",
            "analyst",
        )
        .order_by("wash__bag__round__collected_on", "wash_id", "dish_number", "reading")
    )
    found: dict[tuple[int, int], list[Tally]] = defaultdict(list)
    for tally in readings:
        if (tally.wash_id, tally.dish_number) in dishes:
            found[tally.wash_id, tally.dish_number].append(tally)
    return [tallies for tallies in found.values() if len(tallies) > 1]


def years_of_rounds(member: Member) -> list[int]:
    """List the years in which rounds were collected, newest first; 1 query."""
    years = Round.objects.for_group(member.group_id).dates(
        "collected_on", "year", order="DESC"
    )
    return [one.year for one in years]


def standard_on(farm_group: FarmGroup, day: date) -> AgreementStandard | None:
    """Give the standard in force on a day; 1 query."""
    return standards_of(farm_group).filter(valid_from__lte=day).first()


def standards_of(farm_group: FarmGroup) -> QuerySet[AgreementStandard]:
    """List every standard that was stated, newest first."""
    return (
        AgreementStandard.objects.for_group(farm_group.pk)
        .select_related("created_by")
        .order_by("-valid_from", "-pk")
    )


def blanks_of(member: Member) -> list[BlankWash]:
    """List the newest blank washes, withdrawn ones too, with what was found.

    Each that has a wash before it carries that wash's tallies as `tallies_before`.
    4 queries.
    """
    before = Tally.objects.for_group(member.group_id).filter(
        state=Tally.State.PUBLISHED, chosen=True
    )
    counts = BlankCount.objects.for_group(member.group_id).select_related("organism")
    return list(
        BlankWash.objects.for_group(member.group_id)
        .select_related(
            "after__bag__round__block", "dish", "source_sheet", "withdrawn_by"
        )
        .prefetch_related(
            Prefetch("counts", queryset=counts.order_by("organism__position")),
            Prefetch("after__tallies", queryset=before, to_attr="tallies_before"),
        )
        .order_by("-washed_on", "-pk")[:MOST_BLANKS]
    )


def blank_for(member: Member, blank_uuid: UUID) -> BlankWash:
    """Give one of the group's blank washes, or Http404; 1 query."""
    found: BlankWash = get_object_or_404(
        BlankWash.objects.for_group(member.group_id), uuid=blank_uuid
    )
    return found
