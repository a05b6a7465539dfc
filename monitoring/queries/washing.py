"""Read wash protocols, batches, and how a round's bags were washed."""

from collections.abc import Iterable
from datetime import date
from uuid import UUID

from django.db.models import Prefetch, QuerySet
from django.shortcuts import get_object_or_404

from blocks.access import Member, visible_blocks
from monitoring.models import (
    Bag,
    BlankWash,
    Round,
    Tally,
    Wash,
    WashBatch,
    WashProtocol,
)

# The newest so many batches are listed.
MOST_BATCHES = 50


def protocols_of(farm_group_id: int) -> QuerySet[WashProtocol]:
    """List every protocol that was stated, newest first; 1 query."""
    return (
        WashProtocol.objects.for_group(farm_group_id)
        .select_related("created_by")
        .order_by("-valid_from", "-pk")
    )


def in_force(protocols: Iterable[WashProtocol], day: date) -> WashProtocol:
    """Choose the protocol of a day among all; common practice where none is stated."""
    return next(
        (one for one in protocols if one.valid_from <= day),
        WashProtocol(valid_from=date.min),
    )


def protocol_on(farm_group_id: int, day: date) -> WashProtocol:
    """Give the protocol of a day; 1 query."""
    return in_force(protocols_of(farm_group_id).filter(valid_from__lte=day)[:1], day)


def bags_to_wash(of_round: Round) -> list[Bag]:
    """List a round's bags but lost ones, with their washes; 2 queries."""
    washes = Wash.objects.for_group(of_round.farm_group_id).order_by("number")
    return list(
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .exclude(way=Bag.Way.LOST)
        .select_related("round")
        .prefetch_related(Prefetch("washes", queryset=washes))
        .order_by("tissue", "position", "code")
    )


def washes_of_round(
    of_round: Round, *, tissue: str = "", first_only: bool = False
) -> list[Wash]:
    """List the washes of a round's bags, each with bag and batch; 1 query."""
    washes = Wash.objects.for_group(of_round.farm_group_id).filter(bag__round=of_round)
    if tissue:
        washes = washes.filter(bag__tissue=tissue)
    if first_only:
        washes = washes.filter(number=1)
    return list(
        washes.select_related("bag", "batch").order_by("number", "bag__code", "pk")
    )


def batches_seen(member: Member) -> QuerySet[WashBatch]:
    """Find the batches of the blocks that the member sees."""
    return (
        WashBatch.objects.for_group(member.group_id)
        .filter(round__block__in=visible_blocks(member))
        .select_related(
            "farm_group", "round__block__farm", "created_by", "ended_by", "protocol"
        )
    )


def newest_batches(member: Member) -> list[WashBatch]:
    """List the newest batches that stand; 1 query."""
    return list(
        batches_seen(member)
        .filter(state=WashBatch.State.STANDS)
        .order_by("-washed_on", "-pk")[:MOST_BATCHES]
    )


def batches_of_round(of_round: Round) -> list[WashBatch]:
    """List a round's batches that stand, oldest first; 1 query."""
    return list(
        WashBatch.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round, state=WashBatch.State.STANDS)
        .order_by("washed_on", "pk")
    )


def batch_for(member: Member, batch_uuid: UUID) -> WashBatch:
    """Give a batch of a block that the member may see, or Http404; 1 query."""
    found: WashBatch = get_object_or_404(
        batches_seen(member).select_related("supersedes", "superseded_by"),
        uuid=batch_uuid,
    )
    return found


def washes_of_batch(batch: WashBatch) -> list[Wash]:
    """List a batch's washes with bags, tallies and blanks after them; 3 queries."""
    tallies = (
        Tally.objects.for_group(batch.farm_group_id)
        .filter(state=Tally.State.PUBLISHED)
        .select_related("organism")
        .order_by("organism__position", "dish_number", "reading")
    )
    blanks = BlankWash.objects.for_group(batch.farm_group_id).order_by("pk")
    return list(
        Wash.objects.for_group(batch.farm_group_id)
        .filter(batch=batch)
        .select_related("bag")
        .prefetch_related(
            Prefetch("tallies", queryset=tallies),
            Prefetch("blanks_after", queryset=blanks),
        )
        .order_by("bag__code", "pk")
    )
