"""Read reference dishes, what was counted of them, and recounts of real dishes."""

from collections import defaultdict
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from django.utils import timezone

from blocks.access import COUNTERS, Member
from blocks.models import FarmGroup, Membership, User
from monitoring.models import (
    ReferenceContent,
    ReferenceCount,
    ReferenceDish,
    ReferenceReading,
    SeniorCounter,
    Tally,
)

# The newest so many are listed and compared.
MOST_REFERENCES = 500
MOST_READINGS = 5_000
MOST_RECOUNTED = 2_000


def references_of(member: Member) -> list[ReferenceDish]:
    """List the newest reference dishes with what is to be found; 2 queries."""
    return list(_references(member)[:MOST_REFERENCES])


def reference_for(member: Member, reference_uuid: UUID) -> ReferenceDish:
    """Give one of the group's reference dishes, or Http404; 2 queries."""
    found: ReferenceDish = get_object_or_404(_references(member), uuid=reference_uuid)
    return found


def may_withdraw(member: Member, reference: ReferenceDish) -> bool:
    """Tell whether the member may withdraw a dish; 1 query for its maker, else none.

    Once it was counted only a coordinator may, or who counted badly could take the
    dish out of their own record.
    """
    if not reference.stands:
        return False
    if member.is_coordinator:
        return True
    readings = ReferenceReading.objects.for_group(member.group_id)
    return (
        reference.made_by_id == member.user.pk
        and not readings.filter(reference=reference).exists()
    )


def _references(member: Member) -> QuerySet[ReferenceDish]:
    return (
        ReferenceDish.objects.for_group(member.group_id)
        .select_related("dish", "made_by", "withdrawn_by")
        .prefetch_related(Prefetch("contents", queryset=_contents(member)))
        .order_by("-made_at", "-pk")
    )


def _contents(member: Member) -> QuerySet[ReferenceContent]:
    return (
        ReferenceContent.objects.for_group(member.group_id)
        .select_related("organism")
        .order_by("organism__position")
    )


def readings_of(member: Member, person: User | None = None) -> list[ReferenceReading]:
    """List readings, oldest first, of one person or of everybody; 3 queries."""
    counts = ReferenceCount.objects.for_group(member.group_id)
    readings = (
        ReferenceReading.objects.for_group(member.group_id)
        .select_related("reference__dish", "reader")
        .prefetch_related(
            Prefetch("counts", queryset=counts),
            Prefetch("reference__contents", queryset=_contents(member)),
        )
        .order_by("-counted_at", "-pk")
    )
    if person is not None:
        readings = readings.filter(reader=person)
    return list(readings[:MOST_READINGS])[::-1]


def own_reading(member: Member, reference: ReferenceDish) -> ReferenceReading | None:
    """Give what the member counted of a reference dish, if anything; 2 queries.

    It carries the dish that was given, with what is in it.
    """
    reading: ReferenceReading | None = (
        ReferenceReading.objects.for_group(member.group_id)
        .filter(reference=reference, reader=member.user)
        .prefetch_related("counts")
        .first()
    )
    if reading is not None:
        reading.reference = reference
    return reading


def senior_of(farm_group: FarmGroup) -> User | None:
    """Give whom recounts are held against; None for the other reader; 1 query."""
    chosen = (
        SeniorCounter.objects.for_group(farm_group.pk)
        .select_related("person")
        .order_by("-chosen_at", "-pk")
        .first()
    )
    return chosen.person if chosen else None


def counters_of(farm_group: FarmGroup) -> list[User]:
    """List those who count in the group today, by name; 1 query."""
    today = timezone.localdate()
    memberships = (
        Membership.objects.for_group(farm_group.pk)
        .filter(Q(valid_until=None) | Q(valid_until__gt=today), role__in=COUNTERS)
        .select_related("user")
        .order_by("user__name", "pk")
    )
    return [one.user for one in memberships]


def person_for(member: Member, person_uuid: UUID) -> User:
    """Give somebody who has or had a part in the group, or Http404; 1 query."""
    membership = (
        Membership.objects.for_group(member.group_id)
        .select_related("user")
        .filter(user__uuid=person_uuid)
        .first()
    )
    if membership is None:
        raise Http404("No such person.")
    person: User = membership.user
    return person


def recounted_by(member: Member, person: User) -> list[list[Tally]]:
    """Give dishes that a person and somebody else counted, oldest first; 2 queries.

    Each with its readings of one organism. Superseded and uncountable readings are
    left out.
    """
    standing = Tally.objects.for_group(member.group_id).filter(
        state=Tally.State.PUBLISHED, outcome=Tally.Outcome.COUNTED
    )
    again = (
        Tally.objects.for_group(member.group_id)
        .filter(reading__gt=1, state=Tally.State.PUBLISHED)
        .values("wash")
    )
    mine = set(
        standing.filter(analyst=person, wash__in=again)
        .order_by("-pk")
        .values_list("wash_id", "organism_id", "dish_number")[:MOST_RECOUNTED]
    )
    readings = (
        standing.filter(wash__in={wash for wash, _, _ in mine})
        .select_related("wash__bag__round", "organism", "analyst")
        .order_by("wash__bag__round__collected_on", "wash_id", "dish_number", "reading")
    )
    found: dict[tuple[int, int, int], list[Tally]] = defaultdict(list)
    for tally in readings:
        key = (tally.wash_id, tally.organism_id, tally.dish_number)
        if key in mine:
            found[key].append(tally)
    return [tallies for tallies in found.values() if len(tallies) > 1]
