"""Read what came of acts beside readings: what waits, and what a bag was told of."""

from collections import defaultdict
from dataclasses import dataclass, field
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from blocks.access import Member, visible_blocks
from monitoring.models import Bag, BenchAct, BenchEvent

State = BenchAct.State
MOST_WAITING = 200


@dataclass(slots=True)
class WaitingAct:
    """An act of which something waits for a person: by reason, the bags."""

    event: BenchEvent
    whys: dict[str, list[BenchAct]] = field(default_factory=lambda: defaultdict(list))

    @property
    def parts(self) -> list[tuple[str, list[BenchAct]]]:
        """Give each reason with the bags it holds for."""
        return list(self.whys.items())


def seen(member: Member) -> Q:
    """Give what a member may see of acts: those on visible bags, and on none known."""
    if member.sees_all_farms:
        return Q()
    return Q(bag=None) | Q(bag__round__block__in=visible_blocks(member))


def _seen(member: Member) -> QuerySet[BenchAct]:
    rows: QuerySet[BenchAct] = BenchAct.objects.for_group(member.group_id)
    return rows.filter(seen(member))


def acts_waiting(member: Member) -> list[WaitingAct]:
    """List acts that wait for a person, the longest waiting first; 1 query."""
    rows = (
        _seen(member)
        .filter(state=State.WAITING)
        .select_related(
            "event__author", "event__device", "bag__round__block__farm", "farm_group"
        )
        .order_by("done_at", "pk")[:MOST_WAITING]
    )
    found: dict[int, WaitingAct] = {}
    for row in rows:
        act = found.setdefault(row.event_id, WaitingAct(row.event))
        act.whys[row.why].append(row)
    return list(found.values())


def acts_total(member: Member) -> int:
    """Count the acts that wait for a person; 1 query."""
    waiting = _seen(member).filter(state=State.WAITING)
    return waiting.values("event").distinct().count()


def act_for(member: Member, event_uuid: UUID) -> BenchEvent:
    """Give an act that the member may see something of, or Http404; 1 query."""
    row = (
        _seen(member)
        .filter(event__uuid=event_uuid)
        .select_related("event__author", "event__sent_by", "event__device")
        .first()
    )
    if row is None:
        raise Http404("No such act.")
    event: BenchEvent = row.event
    return event


def acts_of(bag: Bag) -> QuerySet[BenchAct]:
    """List what devices told of a bag that its steps do not show, oldest first."""
    rows: QuerySet[BenchAct] = (
        BenchAct.objects.for_group(bag.farm_group_id)
        .filter(Q(bag=bag) & ~Q(state=State.DONE, why=""))
        .select_related("event__author", "event__device", "settled_by")
        .order_by("event__received_at", "pk")
    )
    return rows
