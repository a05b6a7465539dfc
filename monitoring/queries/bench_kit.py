"""Read what a bench's device keeps for days without a network; never a count."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q

from blocks.access import Member, visible_blocks
from monitoring.models import Bag, Tally, Wash, WashProtocol
from monitoring.queries.laboratory import Laboratory, laboratory_of
from monitoring.queries.washing import protocol_on

Way = Bag.Way
UNDER_WAY = (Way.PLANNED, Way.COLLECTED, Way.RECEIVED, Way.WASHED)
# Counted bags stay in the kit for so long, to be counted again.
RECOUNT_DAYS = 14
LATELY_COLLECTED_DAYS = 45
MOST_BAGS = 3000


@dataclass(frozen=True, slots=True)
class CountedDish:
    """A dish of a bag of which something was published, without any figure."""

    bag_id: int
    wash: int
    dish_number: int
    organism: str


@dataclass(frozen=True, slots=True)
class Kit:
    """The rows of a kit; `cut` where there are more bags than it holds."""

    laboratory: Laboratory
    protocol: WashProtocol
    bags: list[Bag]
    cut: bool
    washes: list[tuple[int, int]]
    counted: list[CountedDish]


def kit_of(member: Member, *, now: datetime) -> Kit:
    """Read the kit of a member, of farms that the member sees; 11 queries."""
    today = now.astimezone(member.farm_group.zone).date()
    bags = _bags(member, now=now)
    kept = [bag.pk for bag in bags[:MOST_BAGS]]
    return Kit(
        laboratory=laboratory_of(member.farm_group, on=today),
        protocol=protocol_on(member.group_id, today),
        bags=bags[:MOST_BAGS],
        cut=len(bags) > MOST_BAGS,
        washes=list(
            Wash.objects.for_group(member.group_id)
            .filter(bag_id__in=kept)
            # A sheet that names a bag makes its wash, though nobody told of one.
            .exclude(bag__way__in=UNDER_WAY, washed_on=None, batch=None)
            .order_by("bag_id", "number")
            .values_list("bag_id", "number")
        ),
        counted=_counted(member, kept),
    )


def _bags(member: Member, *, now: datetime) -> list[Bag]:
    """List the bags newest first, one more than are kept where there are more.

    In two queries: asked for together, the database looks at every bag there is.
    """
    found = {
        bag.pk: bag
        for part in (Q(way__in=UNDER_WAY), _counted_lately(member, now=now))
        for bag in Bag.objects.for_group(member.group_id)
        .filter(part, round__block__in=visible_blocks(member))
        .select_related("round__block__farm")
        .order_by("-round__collected_on", "-round_id", "pk")[: MOST_BAGS + 1]
    }
    newest_first = sorted(
        found.values(),
        key=lambda bag: (-bag.round.collected_on.toordinal(), -bag.round_id, bag.pk),
    )
    return newest_first[: MOST_BAGS + 1]


def _counted_lately(member: Member, *, now: datetime) -> Q:
    published = Tally.objects.for_group(member.group_id).filter(
        wash__bag=OuterRef("pk"),
        wash__farm_group=member.group_id,
        # Published ones have an index by their wash.
        state=Tally.State.PUBLISHED,
        created_at__gte=now - timedelta(days=RECOUNT_DAYS),
    )
    return Q(
        Exists(published),
        way=Way.COUNTED,
        # What was washed off keeps a week or two; spares a look at earlier tallies.
        round__collected_on__gte=now - timedelta(days=LATELY_COLLECTED_DAYS),
    )


def _counted(member: Member, bag_ids: list[int]) -> list[CountedDish]:
    rows = (
        Tally.objects.for_group(member.group_id)
        .filter(wash__bag_id__in=bag_ids, state=Tally.State.PUBLISHED)
        .order_by("wash__bag_id", "wash__number", "dish_number", "organism__position")
        .values_list("wash__bag_id", "wash__number", "dish_number", "organism__uuid")
        .distinct()
    )
    return [CountedDish(bag, wash, dish, str(uuid)) for bag, wash, dish, uuid in rows]
