"""Read what was counted at the bench: readings, their events, and what they meet."""

from collections import defaultdict
from collections.abc import Iterable
from contextlib import suppress
from uuid import UUID

from django.db.models import Count, Q, QuerySet
from django.http import Http404

from blocks.access import Member, visible_blocks
from monitoring.bench.folding import Event
from monitoring.models import (
    Bag,
    BenchEvent,
    BenchReading,
    Dish,
    Organism,
    Round,
    Tally,
    Wash,
)

State = BenchReading.State
TO_DO = (State.WAITING, State.QUARANTINED, State.OPEN)
MOST_SHOWN = 200
MOST_BAGS = 20


def readings_of_group(farm_group_id: int) -> QuerySet[BenchReading]:
    """List the group's readings with all that their pages name; 1 query."""
    found: QuerySet[BenchReading] = BenchReading.objects.for_group(
        farm_group_id
    ).select_related(
        "bag__round__block__farm", "dish", "device", "analyst", "decided_by"
    )
    return found


def _seen(member: Member) -> Q:
    """Give what a member may see of readings: those of visible bags, and of none."""
    return Q(bag=None) | Q(bag__round__block__in=visible_blocks(member))


def reading_for(member: Member, reading_uuid: UUID) -> BenchReading:
    """Give a reading of a bag that the member may see, or Http404; 1 query."""
    found = (
        readings_of_group(member.group_id)
        .filter(_seen(member))
        .filter(uuid=reading_uuid)
        .first()
    )
    if found is None:
        raise Http404("No such reading.")
    return found


def readings_to_do(member: Member, state: str) -> list[BenchReading]:
    """List readings in a state, oldest first; 1 query."""
    return list(
        readings_of_group(member.group_id)
        .filter(_seen(member))
        .filter(state=state)
        .order_by("first_received_at", "pk")[:MOST_SHOWN]
    )


def totals_to_do(member: Member) -> dict[str, int]:
    """Count the readings that are open, wait, or are set apart; 1 query."""
    rows = (
        BenchReading.objects.for_group(member.group_id)
        .filter(_seen(member), state__in=TO_DO)
        .values_list("state")
        .annotate(number=Count("pk"))
    )
    return {**dict.fromkeys(TO_DO, 0), **dict(rows)}


def decisions_due(member: Member) -> int:
    """Count the readings that a person has to decide about; 1 query."""
    totals = totals_to_do(member)
    return totals[State.WAITING] + totals[State.QUARANTINED]


def readings_to_tell_of(bag: Bag) -> list[BenchReading]:
    """List a bag's readings that no tally came of yet; 1 query."""
    return list(
        BenchReading.objects.for_group(bag.farm_group_id)
        .filter(bag=bag, state__in=TO_DO)
        .select_related("analyst")
        .order_by("pk")
    )


def events_of(reading: BenchReading) -> list[BenchEvent]:
    """List a reading's events in the order of its device, refused ones too; 1 query."""
    return list(
        BenchEvent.objects.for_group(reading.farm_group_id)
        .filter(reading_uuid=reading.uuid, device=reading.device_id)
        .select_related("author")
        .order_by("sequence")
    )


def as_folded(events: Iterable[BenchEvent]) -> list[Event]:
    """Give stored events as the fold takes them."""
    return [
        Event(
            id=str(row.uuid),
            sequence=row.sequence,
            kind=row.kind,
            payload=row.payload if isinstance(row.payload, dict) else {},
            refused=bool(row.refusal),
        )
        for row in events
    ]


def tallies_of(reading: BenchReading) -> list[Tally]:
    """List the tallies that came of a reading, superseded ones too; 1 query."""
    return list(
        Tally.objects.for_group(reading.farm_group_id)
        .filter(source_reading=reading)
        .select_related("organism", "dish", "source_sheet", "wash")
        .order_by("organism__position", "pk")
    )


def is_beside_another(reading: BenchReading) -> bool:
    """Tell whether a published reading makes no figure; at most 1 query."""
    return (
        reading.state == State.PUBLISHED
        and Tally.objects.for_group(reading.farm_group_id)
        .filter(source_reading=reading, state=Tally.State.PUBLISHED, chosen=False)
        .exists()
    )


Place = tuple[int | None, int, int]


def place_of(reading: BenchReading) -> Place:
    """Give the bag, wash and dish that a reading is of."""
    return reading.bag_id, reading.wash_number, reading.dish_number


def standing_tallies(
    farm_group_id: int, readings: Iterable[BenchReading]
) -> dict[Place, list[Tally]]:
    """List what is published of the dishes of readings, by dish; 1 query."""
    bags = {reading.bag_id for reading in readings if reading.bag_id}
    rows = (
        Tally.objects.for_group(farm_group_id)
        .filter(wash__bag__in=bags, state=Tally.State.PUBLISHED)
        .select_related("wash", "organism", "source_sheet", "source_reading", "analyst")
        .order_by("organism__position", "reading")
    )
    found: dict[Place, list[Tally]] = defaultdict(list)
    for tally in rows:
        place = tally.wash.bag_id, tally.wash.number, tally.dish_number
        found[place].append(tally)
    return found


def bags_named(member: Member, typed: str, label: str) -> list[Bag]:
    """Find the bags that a label, a code or an address means, newest first; 1 query."""
    which = Q(code=typed)
    if label:
        which |= Q(label=label)
    with suppress(ValueError):
        which |= Q(uuid=UUID(typed))
    return list(
        Bag.objects.for_group(member.group_id)
        .filter(which, round__block__in=visible_blocks(member))
        .select_related("round__block__farm")
        .order_by("-round__collected_on", "-pk")[:MOST_BAGS]
    )


def dishes_of_group(member: Member) -> QuerySet[Dish]:
    """List the group's dishes, the usual one first."""
    dishes: QuerySet[Dish] = Dish.objects.for_group(member.group_id).order_by(
        "-is_usual", "name"
    )
    return dishes


def earlier_rounds(of_round: Round, *, most: int) -> list[int]:
    """List the keys of a block's rounds up to a round's day, without it; 1 query."""
    return list(
        Round.objects.for_group(of_round.farm_group_id)
        .filter(block=of_round.block_id, collected_on__lte=of_round.collected_on)
        .exclude(pk=of_round.pk)
        .order_by("-collected_on", "-pk")
        .values_list("pk", flat=True)[:most]
    )


def organisms_by_key(farm_group_id: int) -> dict[str, Organism]:
    """Give the group's organisms by their key at the bench; 1 query."""
    return {
        str(row.uuid): row
        for row in Organism.objects.for_group(farm_group_id).order_by("position")
    }


def dishes_of_wash(reading: BenchReading) -> int:
    """Say how many dishes a reading's wash fills; 1 query."""
    found: int | None = (
        Wash.objects.for_group(reading.farm_group_id)
        .filter(bag=reading.bag_id, number=reading.wash_number)
        .values_list("dishes", flat=True)
        .first()
    )
    return max(found or 1, reading.dish_number)
