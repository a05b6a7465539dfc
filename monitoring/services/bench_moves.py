"""Take bags along their way as devices tell: collected, received, lost, taken back."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import timedelta
from types import MappingProxyType

from django.utils import timezone

from monitoring.bench.clocks import ALLOWED_S
from monitoring.models import Bag, BagStep, BenchAct
from monitoring.services.bag_ways import WrongStepError, move_bags
from monitoring.services.bench_act import NO_BAG, Act, Outcome, State
from monitoring.services.bench_places import place, put_back
from monitoring.services.walked_days import walk_on

Way = Bag.Way
BEFORE_LOSS = (
    "it is lost, and was {} before that or at no known time after: found again, or"
    " lost for good?"
)


def collect(act: Act) -> list[Outcome]:
    """Note that a bag was collected, and where."""
    (key,) = act.uuids
    bag = act.bags.get(key)
    if bag is None:
        return act.each(NO_BAG)
    note = act.note(act.payload.get("note") or "", at="collected_at")
    moved = _move(act, bag, Way.COLLECTED, note=note, since=(Way.PLANNED,))
    if moved.state == State.WAITING:
        return [moved]
    placed = place(act, bag)
    walked = _walked(act, bag) if moved.state == State.DONE else ""
    if moved.state == State.DONE or not placed.moved_place:
        why = "; ".join(part for part in (moved.why, walked, placed.why) if part)
        return [replace(placed, state=moved.state, why=why)]
    # The laboratory was quicker than the phone, and nobody else knows the place.
    why = f"{moved.why}; its place was set all the same"
    return [replace(placed, state=State.DONE, why=why)]


def _walked(act: Act, bag: Bag) -> str:
    """Keep the round's day that of the walk, for acts that come after as well."""
    ahead_s = act.event.device.clock_ahead_s
    at = act.claimed_at("collected_at")
    if abs(ahead_s) > ALLOWED_S:
        at -= timedelta(seconds=ahead_s)
    day = timezone.localtime(at, act.member.farm_group.zone).date()
    if day == bag.round.collected_on:
        return ""
    words = walk_on(bag, day)
    bag.round.refresh_from_db(fields=["collected_on"])
    for other in act.bags.values():
        if other.round_id == bag.round_id:
            other.round.collected_on = bag.round.collected_on
    return words


def uncollect(act: Act) -> list[Outcome]:
    """Take back that a bag was collected."""
    (key,) = act.uuids
    bag = act.bags.get(key)
    if bag is None:
        return act.each(NO_BAG)
    if bag.way != Way.COLLECTED:
        return [_unchanged(bag)]
    why = act.payload.get("why") or "taken back at the device"
    moved = _step(act, bag, Way.PLANNED, note=act.note(why))
    last = (
        BenchAct.objects.for_group(act.member.group_id)
        .filter(bag=bag, moved_place=True, event__kind="collect")
        .order_by("-pk")
        .first()
    )
    if moved.state == State.DONE and last is not None:
        put_back(act, bag, last.place_before)
    return [moved]


def receive(act: Act) -> list[Outcome]:
    """Note that a bag came to the laboratory."""
    (key,) = act.uuids
    bag = act.bags.get(key)
    if bag is None:
        return act.each(NO_BAG)
    before = (Way.PLANNED, Way.COLLECTED)
    return [_move(act, bag, Way.RECEIVED, note=act.note(), since=before)]


def lose(act: Act) -> list[Outcome]:
    """Note that a bag is lost."""
    (key,) = act.uuids
    bag = act.bags.get(key)
    if bag is None:
        return act.each(NO_BAG)
    if bag.way == Way.LOST:
        return [_unchanged(bag)]
    note = act.note(act.payload.get("why") or "")
    return [_step(act, bag, Way.LOST, note=note)]


def _move(
    act: Act, bag: Bag, way: str, *, note: str, since: tuple[str, ...]
) -> Outcome:
    """Take a bag to a way from one of those before it, or from being lost."""
    if bag.way in since:
        return _step(act, bag, way, note=note)
    if bag.way != Way.LOST:
        return _unchanged(bag)
    if not _after_loss(act, bag):
        why = BEFORE_LOSS.format(way)
        return Outcome(bag_uuid=bag.uuid, bag=bag, state=State.WAITING, why=why)
    found = f"found again; {note}" if note else "found again"
    return _step(act, bag, way, note=found)


def _step(act: Act, bag: Bag, way: str, *, note: str) -> Outcome:
    try:
        move_bags(act.member, [bag.pk], way, note=note[:300], by=act.author)
    except WrongStepError as error:
        return Outcome(
            bag_uuid=bag.uuid, bag=bag, state=State.WAITING, why=error.sentence
        )
    bag.way = way
    return Outcome(bag_uuid=bag.uuid, bag=bag)


def _unchanged(bag: Bag) -> Outcome:
    why = f"it is {bag.get_way_display()} already"
    return Outcome(bag_uuid=bag.uuid, bag=bag, state=State.UNCHANGED, why=why)


def _after_loss(act: Act, bag: Bag) -> bool:
    """Tell whether the act was done after the bag was lost, as far as is known.

    The numbers of one device's events say it; between devices, their clocks.
    """
    group, claimed = act.member.group_id, act.claimed_at("collected_at")
    step = BagStep.objects.for_group(group).filter(bag=bag, way=Way.LOST).last()
    loss = (
        BenchAct.objects.for_group(group)
        .filter(bag=bag, event__kind="lose", state=State.DONE)
        .select_related("event")
        .order_by("-pk")
        .first()
    )
    if loss is None or (step is not None and step.noted_at > loss.done_at):
        return step is not None and claimed > step.noted_at
    if loss.event.device_id == act.event.device_id:
        return bool(act.event.sequence > loss.event.sequence)
    return bool(claimed > loss.event.device_at)


MOVES: Mapping[str, Callable[[Act], list[Outcome]]] = MappingProxyType(
    {"collect": collect, "uncollect": uncollect, "receive": receive, "lose": lose}
)
