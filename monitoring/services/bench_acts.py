"""Do what devices tell beside readings, each act once and in order of its number."""

import logging
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from uuid import UUID

from django.db import OperationalError, transaction
from django.utils import timezone

from blocks.access import COUNTERS, Member, require
from blocks.errors import ConflictError, SiteError
from monitoring.models import Bag, BenchAct, BenchDevice, BenchEvent
from monitoring.queries.bench_acts import seen
from monitoring.services.bench_act import NO_BAG, Act, Outcome, State, bags_named
from monitoring.services.bench_moves import MOVES
from monitoring.services.bench_washes import wash

logger = logging.getLogger(__name__)
FAULT = (
    "the site could not work it out; try it again, and tell whoever runs the site if it"
    " is said again"
)
LONGEST_WHY, MOST_NAMED = 600, 12


class NoReasonError(SiteError):
    """An act that is settled without a word why."""

    code = "no-reason"
    status = 422


def photo(act: Act) -> list[Outcome]:
    """Note that a photograph was taken; the picture itself comes by its own address."""
    (key,) = act.uuids
    if key not in act.bags:
        return act.each(NO_BAG)
    return [Outcome(bag_uuid=key, bag=act.bags[key])]


DO: Mapping[str, Callable[[Act], list[Outcome]]] = MappingProxyType(
    {**MOVES, "wash": wash, "photo": photo}
)


def apply(member: Member, device: BenchDevice, *, up_to: int) -> list[str]:
    """Do a device's acts up to a number, and say what a person should know of them.

    The caller holds the device's row. What a person must decide is kept, and stops
    nothing else.
    """
    events = list(
        BenchEvent.objects.for_group(member.group_id)
        .filter(device=device, sequence__gt=device.acts_to, sequence__lte=up_to)
        .filter(kind__in=DO, refusal="", acts=None)
        .select_related("author", "sent_by", "device")
        .order_by("sequence")
    )
    bags = _locked(member, {key for event in events for key in bags_named(event)})
    words = []
    for event in events:
        act = Act(member=member, event=event, uuids=bags_named(event), bags=bags)
        outcomes = _do(act)
        BenchAct.objects.bulk_create(_row(act, outcome) for outcome in outcomes)
        words += _words(act, outcomes)
    if up_to > device.acts_to:
        device.acts_to = up_to
        device.save(update_fields=["acts_to"])
    return words


def _locked(member: Member, keys: Iterable[UUID]) -> dict[UUID, Bag]:
    """Hold the bags that the member may see, always in the same order."""
    rows = (
        Bag.objects.for_group(member.group_id)
        .filter(uuid__in=set(keys))
        .select_related("round__block__farm")
        .order_by("pk")
        .select_for_update(of=("self",), no_key=True)
    )
    if member.farm_ids is not None:
        rows = rows.filter(round__block__farm__in=member.farm_ids)
    return {row.uuid: row for row in rows}


def _do(act: Act) -> list[Outcome]:
    """Do one act; what fails in it is undone and waits."""
    try:
        with transaction.atomic():
            return DO[act.event.kind](act)
    except OperationalError:
        raise  # two benches met; the whole visit is worked out again at the next
    except Exception:
        logger.exception("Could not do act %s of a bench.", act.event.pk)
        for key in act.uuids:
            if key in act.bags:
                act.bags[key].refresh_from_db(
                    fields=["way", "point", "point_accuracy_m"]
                )
        return act.each(FAULT)


def _row(act: Act, outcome: Outcome) -> BenchAct:
    return BenchAct(
        farm_group_id=act.member.group_id,
        event=act.event,
        bag=outcome.bag,
        bag_uuid=outcome.bag_uuid,
        state=outcome.state,
        why=outcome.why[:LONGEST_WHY],
        place_before=outcome.place_before,
        moved_place=outcome.moved_place,
    )


def _words(act: Act, outcomes: Iterable[Outcome]) -> list[str]:
    """Say of each kind of trouble which bags have it."""
    whys: dict[tuple[bool, str], list[str]] = {}
    for one in outcomes:
        waits = one.state == State.WAITING
        if waits or (one.why and act.event.kind == "collect"):
            code = one.bag.code if one.bag else "not known here"
            whys.setdefault((waits, one.why), []).append(code)
    said = []
    for (waits, why), codes in whys.items():
        bags = ("bag " if len(codes) == 1 else "bags ") + ", ".join(codes[:MOST_NAMED])
        if len(codes) > MOST_NAMED:
            bags += f" and {len(codes) - MOST_NAMED} more"
        ending = " A person decides, on the page of what waits." if waits else ""
        said.append(
            f"{act.event.kind.capitalize()}, {bags}: {why.rstrip('.')}.{ending}"
        )
    return said


@transaction.atomic
def try_again(member: Member, event: BenchEvent) -> list[str]:
    """Do what waits of an act again, and say what still waits."""
    require(member, COUNTERS)
    rows = _waiting(member, event)
    keys = tuple(row.bag_uuid for row in rows)
    act = Act(member=member, event=event, uuids=keys, bags=_locked(member, keys))
    outcomes = {one.bag_uuid: one for one in _do(act)}
    for row in rows:
        outcome = outcomes[row.bag_uuid]
        row.bag = outcome.bag or row.bag
        row.state, row.why = outcome.state, outcome.why[:LONGEST_WHY]
        row.place_before, row.moved_place = outcome.place_before, outcome.moved_place
        row.done_at = timezone.now()
        row.save()
    return _words(act, outcomes.values())


@transaction.atomic
def settle(member: Member, event: BenchEvent, *, why: str) -> None:
    """Note that a person saw to what waits of an act, and how."""
    require(member, COUNTERS)
    if not why.strip():
        raise NoReasonError("Say what was done about it, or why nothing needs to be.")
    for row in _waiting(member, event):
        row.state = State.SETTLED
        row.settled_at, row.settled_by = timezone.now(), member.user
        row.settled_why = why.strip()[:300]
        row.save()


def _waiting(member: Member, event: BenchEvent) -> list[BenchAct]:
    rows = list(
        BenchAct.objects.for_group(member.group_id)
        .filter(seen(member), event=event, state=State.WAITING)
        .order_by("pk")
        .select_for_update(of=("self",), no_key=True)
    )
    if not rows:
        raise ConflictError("Somebody has seen to this act already.")
    return rows
