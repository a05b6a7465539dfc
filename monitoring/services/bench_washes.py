"""Enter what devices tell of washes: a batch for each round that the bags are of."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone

from blocks.errors import SiteError
from monitoring.models import Bag, Round, Wash
from monitoring.services.bench_act import NO_BAG, Act, Outcome, State
from monitoring.services.washing import BEFORE_WASHED, Washed, enter_batch

Way = Bag.Way
LOST = "it is lost; mark it as found, then try again"
SAME = "it is in a batch that says the same already"
# What two batches must agree in to be told twice.
SAID = ("alcohol_percent", "volume_ml", "shake_s", "piece_cm", "rinses", "washed_on")


def wash(act: Act) -> list[Outcome]:
    """Enter the act's bags as washed; what cannot be waits for a person."""
    washed = _washed(act)
    outcomes = [
        Outcome(bag_uuid=key, state=State.WAITING, why=NO_BAG)
        for key in act.uuids
        if key not in act.bags
    ]
    by_round: dict[int, list[Bag]] = {}
    for key in act.uuids:
        if key in act.bags:
            by_round.setdefault(act.bags[key].round_id, []).append(act.bags[key])
    for round_id in sorted(by_round):
        outcomes += _of_round(act, by_round[round_id], washed)
    return outcomes


def _washed(act: Act) -> Washed:
    """Read what was told; nothing is washed after the site heard of it."""
    told = act.payload
    at = min(act.claimed_at("washed_at"), act.event.received_at)
    return Washed(
        washed_on=timezone.localtime(at, act.member.farm_group.zone).date(),
        washed_at=at,
        alcohol_percent=told["alcohol_percent"],
        volume_ml=told["volume_ml"],
        shake_s=told["shake_s"],
        piece_cm=told.get("piece_cm"),
        rinses=told.get("rinses"),
        analyst=act.author,
        analyst_name=act.author.name,
        number=told["number"],
        note=act.note(told.get("note") or "", at="washed_at"),
    )


def _of_round(act: Act, bags: list[Bag], washed: Washed) -> list[Outcome]:
    """Enter the bags of one round: all that can be together, each other with words."""
    of_round = bags[0].round
    same = _told_already(act, bags, washed)
    outcomes, left = [], []
    for bag in bags:
        if bag.way == Way.LOST:
            outcomes.append(_waits(bag, LOST))
        elif bag.pk in same:
            outcomes.append(
                Outcome(bag_uuid=bag.uuid, bag=bag, state=State.UNCHANGED, why=SAME)
            )
        else:
            left.append(bag)
    refusal = _too_early(of_round, washed.washed_on)
    if refusal:
        return outcomes + [_waits(bag, refusal) for bag in left]
    return outcomes + _enter_all(act, of_round, left, washed)


def _too_early(of_round: Round, on: date) -> str:
    if on >= of_round.collected_on:
        return ""
    return (
        f"by the device's clock it was washed on {on:%Y-%m-%d}, before its round was"
        f" collected on {of_round.collected_on:%Y-%m-%d}; enter it on the round's page"
        " with the right day"
    )


def _enter_all(
    act: Act, of_round: Round, bags: list[Bag], washed: Washed
) -> list[Outcome]:
    if not bags:
        return []
    refusal = _enter(act, of_round, bags, washed)
    if not refusal:
        return [Outcome(bag_uuid=bag.uuid, bag=bag) for bag in bags]
    if len(bags) == 1:
        return [_waits(bags[0], refusal)]
    # One of them is at fault: the others were washed all the same.
    whys = {bag.pk: _enter(act, of_round, [bag], washed, keep=False) for bag in bags}
    fine = [bag for bag in bags if not whys[bag.pk]]
    again = _enter(act, of_round, fine, washed) if fine else ""
    return [
        _waits(bag, whys[bag.pk] or again)
        if whys[bag.pk] or again
        else Outcome(bag_uuid=bag.uuid, bag=bag)
        for bag in bags
    ]


def _enter(
    act: Act,
    of_round: Round,
    bags: Sequence[Bag],
    washed: Washed,
    *,
    keep: bool = True,
) -> str:
    """Enter a batch, or say why it cannot be; `keep` off only tries it."""
    try:
        with transaction.atomic():
            keys = [bag.pk for bag in bags]
            enter_batch(act.member, of_round, keys, washed, by=act.author)
            if not keep:
                transaction.set_rollback(True)
    except SiteError as error:
        return error.sentence
    for bag in bags:
        if keep and bag.way in BEFORE_WASHED:
            bag.way = Way.WASHED
    return ""


def _told_already(act: Act, bags: list[Bag], washed: Washed) -> set[int]:
    """Find the bags whose batch says the same."""
    rows = (
        Wash.objects.for_group(act.member.group_id)
        .filter(bag__in=bags, number=washed.number, batch__isnull=False)
        .select_related("batch")
    )
    return {
        row.bag_id
        for row in rows
        if all(getattr(row.batch, name) == getattr(washed, name) for name in SAID)
    }


def _waits(bag: Bag, why: str) -> Outcome:
    return Outcome(bag_uuid=bag.uuid, bag=bag, state=State.WAITING, why=why)
