"""Move bags along their way; each step is kept with who and when."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from django.db import transaction

from blocks.access import COUNTERS, Member, require
from blocks.errors import SiteError
from blocks.models import User
from monitoring.models import Bag, BagStep, Round
from monitoring.services.changes import note_changed_rounds

Way = Bag.Way
# Where a bag may go by hand, usual ones first. Counted comes with published counts.
FORWARD: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        Way.PLANNED: (Way.COLLECTED, Way.RECEIVED, Way.LOST),
        Way.COLLECTED: (Way.RECEIVED, Way.WASHED, Way.LOST),
        Way.RECEIVED: (Way.WASHED, Way.LOST),
        Way.WASHED: (Way.LOST,),
        Way.COUNTED: (Way.REPORTED,),
        Way.REPORTED: (),
        Way.LOST: (),
    }
)
# A step taken by mistake; the note says so.
BACK: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        Way.COLLECTED: (Way.PLANNED,),
        Way.RECEIVED: (Way.COLLECTED,),
        Way.WASHED: (Way.RECEIVED,),
        Way.REPORTED: (Way.COUNTED,),
        Way.LOST: (Way.PLANNED, Way.COLLECTED, Way.RECEIVED, Way.WASHED),
    }
)


class WrongStepError(SiteError):
    """A step that a bag cannot take from where it is."""

    code = "wrong-step"
    status = 422


def why_not(bag: Bag, way: str, *, note: str) -> str:
    """Say in words why a bag cannot take a step; empty if it can."""
    backwards = way in BACK.get(bag.way, ())
    if way in FORWARD[bag.way] or (backwards and note):
        return ""
    is_now = f"Bag {bag.code} is {bag.get_way_display()}"
    if way == bag.way:
        refusal = f"{is_now} already."
    elif backwards:
        refusal = f"{is_now}. Say in the note why it goes back to {way}."
    elif way == Way.COUNTED:
        refusal = f"{is_now}; it becomes counted when its counts are published."
    elif way == Way.REPORTED:
        refusal = f"{is_now}; only a bag that is counted is reported."
    elif bag.way in {Way.COUNTED, Way.REPORTED}:
        refusal = f"{is_now}, and its counts stand: it cannot become {way}."
    else:
        refusal = f"{is_now}, and cannot become {way} from there."
    return refusal


@transaction.atomic
def move_bags(
    member: Member,
    bags: Iterable[int],
    way: str,
    *,
    note: str = "",
    by: User | None = None,
) -> list[Bag]:
    """Take all of these bags one step on, or none of them; give them as they are now.

    `by` did it, where that is not who tells it. Raises WrongStepError, in words, for
    the first that cannot take the step.
    """
    require(member, COUNTERS)
    note = note.strip()
    found = list(
        Bag.objects.for_group(member.group_id)
        .filter(pk__in=list(bags))
        .order_by("pk")
        .select_for_update(no_key=True)
    )
    for bag in found:
        refusal = why_not(bag, way, note=note)
        if refusal:
            raise WrongStepError(refusal)
    note_steps(member.group_id, found, way, by=by or member.user, note=note)
    was_or_is_lost = [bag for bag in found if Way.LOST in {bag.way, way}]
    Bag.objects.for_group(member.group_id).filter(
        pk__in=[bag.pk for bag in found]
    ).update(way=way)
    for bag in found:
        bag.way = way
    note_rounds_with_figures(member.group_id, {bag.round_id for bag in was_or_is_lost})
    return found


def note_steps(
    farm_group_id: int,
    bags: Iterable[Bag],
    way: str,
    *,
    by: User | None,
    note: str = "",
) -> None:
    """Keep a step of bags from where they are; whoever changes a way does this."""
    BagStep.objects.bulk_create(
        BagStep(
            farm_group_id=farm_group_id,
            bag=bag,
            before=bag.way,
            way=way,
            note=note,
            noted_by=by,
        )
        for bag in bags
        if bag.way != way
    )


def note_rounds_with_figures(farm_group_id: int, rounds: Iterable[int]) -> None:
    """Let figures say anew how many bags they wait for, where there are figures."""
    changed = (
        Round.objects.for_group(farm_group_id)
        .filter(pk__in=list(rounds), densities__is_current=True)
        .distinct()
    )
    note_changed_rounds(farm_group_id, changed)
