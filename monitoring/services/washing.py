"""State how bags are to be washed; keep, correct and withdraw batches of washes."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from blocks.access import Member
from blocks.errors import ConflictError, SiteError
from blocks.models import User
from monitoring.models import Bag, BlankWash, Round, Tally, Wash, WashBatch
from monitoring.models.washing import WashProtocol
from monitoring.queries.washing import protocol_on
from monitoring.services.bag_ways import note_steps
from monitoring.washing.departures import departures_of

State = WashBatch.State
# What a batch writes into each of its washes, and what it keeps to itself.
OF_A_WASH = (
    "washed_on", "alcohol_percent", "volume_ml", "shake_s", "analyst", "analyst_name",
)  # fmt: skip
OF_A_BATCH = ("number", "washed_at", "piece_cm", "rinses", "note", *OF_A_WASH)
MEASURED = {
    "washed_on": "washed on {}",
    "alcohol_percent": "{:g} % alcohol",
    "volume_ml": "{:g} ml",
    "shake_s": "{:g} s shaking",
}
BEFORE_WASHED = (Bag.Way.PLANNED, Bag.Way.COLLECTED, Bag.Way.RECEIVED)


class WashingError(SiteError):
    """A batch that cannot be kept so; `field` is the question it belongs to."""

    code = "cannot-be-washed"
    status = 422

    def __init__(self, sentence: str, field: str = "") -> None:
        super().__init__(sentence)
        self.field = field


@dataclass(frozen=True, slots=True, kw_only=True)
class Washed:
    """How the bags of a batch were washed, by whom, and when."""

    washed_on: date
    alcohol_percent: float
    volume_ml: float
    shake_s: float
    analyst_name: str
    analyst: User | None = None
    washed_at: datetime | None = None
    piece_cm: float | None = None
    rinses: int | None = None
    number: int = 1
    note: str = ""


def state_protocol(member: Member, **values: Any) -> WashProtocol:
    """Ask for another protocol from a date on; earlier ones are kept."""
    return WashProtocol.objects.create(
        farm_group=member.farm_group, created_by=member.user, **values
    )


def enter_batch(
    member: Member,
    of_round: Round,
    bag_ids: Collection[int],
    washed: Washed,
    *,
    by: User | None = None,
) -> WashBatch:
    """Keep a batch; its bags' washes are made, or filled in where they are there.

    `by` entered it, where that is not who tells it.
    """
    try:
        with transaction.atomic():
            return _enter(by or member.user, of_round, bag_ids, washed)
    except IntegrityError as error:
        raise ConflictError(
            "A count sheet or somebody else wrote down washes of these bags a moment"
            " ago. Look at the round, and enter the batch again."
        ) from error


def _enter(
    by: User, of_round: Round, bag_ids: Collection[int], washed: Washed
) -> WashBatch:
    group_id = of_round.farm_group_id
    bags = list(
        Bag.objects.for_group(group_id)
        .filter(round=of_round, pk__in=bag_ids)
        .exclude(way=Bag.Way.LOST)
        .select_for_update(no_key=True)
        .order_by("code", "pk")
    )
    if not bags or len(bags) != len(set(bag_ids)):
        raise WashingError("Choose bags of this round that are not lost.", "bags")
    there = _washes(group_id, bags, washed.number)
    _refuse_out_of_turn(group_id, bags, washed)
    _refuse_in_batches(bags, there)
    for bag in bags:
        if bag.pk in there:
            _refuse_other_values(bag, there[bag.pk], washed)
    batch = WashBatch(
        farm_group_id=group_id,
        round=of_round,
        created_by=by,
        bags=[_as_found(bag, there.get(bag.pk)) for bag in bags],
    )
    _say(batch, washed)
    _write_washes(batch, bags, there)
    return batch


def _say(batch: WashBatch, washed: Washed) -> None:
    """Write what was said into a new batch, with what departs from the protocol."""
    for name in OF_A_BATCH:
        setattr(batch, name, getattr(washed, name))
    protocol = protocol_on(batch.farm_group_id, washed.washed_on)
    batch.protocol = None if protocol.is_common_practice else protocol
    batch.departures = [one.kept() for one in departures_of(batch, protocol)]
    batch.save()


def _washes(farm_group_id: int, bags: list[Bag], number: int) -> dict[int, Wash]:
    rows = Wash.objects.for_group(farm_group_id).filter(bag__in=bags, number=number)
    return {row.bag_id: row for row in rows.select_for_update(no_key=True)}


def _refuse_out_of_turn(farm_group_id: int, bags: list[Bag], washed: Washed) -> None:
    """Let a repeat wash follow the wash before it."""
    number = washed.number
    if number == 1:
        return
    before = _washes(farm_group_id, bags, number - 1)
    skipped = [bag.code for bag in bags if bag.pk not in before]
    if skipped:
        raise WashingError(
            f"{_named(skipped)} without a wash {number - 1}: enter that first, or give"
            " another wash number.",
            "number",
        )
    for bag in bags:
        day = before[bag.pk].washed_on
        if day is not None and washed.washed_on < day:
            raise WashingError(
                f"Wash {number - 1} of bag {bag.code} was on {day:%Y-%m-%d}; a repeat"
                " is on that day or later.",
                "washed_on",
            )


def _refuse_in_batches(bags: list[Bag], there: dict[int, Wash]) -> None:
    taken = [b.code for b in bags if b.pk in there and there[b.pk].batch_id]
    if taken:
        raise WashingError(
            f"{_named(taken)} already in a batch with this wash number. Correct that"
            " batch, leave them out, or give the number of a repeat wash.",
            "bags",
        )


def _refuse_other_values(bag: Bag, wash: Wash, washed: Washed) -> None:
    """Keep what a count sheet stated; a batch fills in, and does not overwrite."""
    for name, words in MEASURED.items():
        stated, said = getattr(wash, name), getattr(washed, name)
        if stated is not None and stated != said:
            raise WashingError(
                f"A count sheet says of bag {bag.code}: {words.format(stated)}. Say"
                " the same here, or leave the bag out.",
                name,
            )


def _named(codes: list[str]) -> str:
    return f"Bag {codes[0]} is" if len(codes) == 1 else f"Bags {', '.join(codes)} are"


def _as_found(bag: Bag, wash: Wash | None) -> dict[str, Any]:
    """Note how a bag was found, so that withdrawing can leave it so."""
    empty = [name for name in OF_A_WASH if wash is None or _is_empty(wash, name)]
    return {"code": bag.code, "way": bag.way, "made": wash is None, "filled": empty}


def _is_empty(wash: Wash, name: str) -> bool:
    # A name that matches no member stands for its person.
    if name in {"analyst", "analyst_name"}:
        return not wash.analyst_name
    return getattr(wash, name) is None


def _write_washes(batch: WashBatch, bags: list[Bag], there: dict[int, Wash]) -> None:
    group_id = batch.farm_group_id
    said = {name: getattr(batch, name) for name in OF_A_WASH}
    Wash.objects.bulk_create(
        Wash(farm_group_id=group_id, bag=bag, number=batch.number, batch=batch, **said)
        for bag in bags
        if bag.pk not in there
    )
    found = {row["code"]: row for row in batch.bags}
    for bag in bags:
        if bag.pk in there:
            _fill(there[bag.pk], batch, found[bag.code]["filled"])
    onward = [bag for bag in bags if bag.way in BEFORE_WASHED]
    note_steps(group_id, onward, Bag.Way.WASHED, by=batch.created_by)
    Bag.objects.for_group(group_id).filter(pk__in=[bag.pk for bag in onward]).update(
        way=Bag.Way.WASHED
    )


def _fill(wash: Wash, batch: WashBatch, filled: list[str]) -> None:
    for name in filled:
        setattr(wash, name, getattr(batch, name))
    wash.batch = batch
    wash.save(update_fields=[*filled, "batch"])


def _end(member: Member, batch: WashBatch, state: str, why: str) -> WashBatch:
    """End a batch that stands, or refuse what somebody else ended."""
    locked: WashBatch = (
        WashBatch.objects.for_group(member.group_id)
        .select_for_update(of=("self",))
        .get(pk=batch.pk)
    )
    if not locked.stands:
        raise ConflictError("Somebody else has corrected or withdrawn this batch.")
    locked.state = state
    locked.ended_at = timezone.now()
    locked.ended_by = member.user
    locked.ended_why = why
    locked.save(update_fields=["state", "ended_at", "ended_by", "ended_why"])
    return locked


@transaction.atomic
def correct_batch(
    member: Member, batch: WashBatch, washed: Washed, *, why: str
) -> WashBatch:
    """Supersede a batch with what it should have said, of the same bags."""
    old = _end(member, batch, State.SUPERSEDED, why)
    new = WashBatch(
        farm_group=member.farm_group,
        round=old.round,
        created_by=member.user,
        bags=old.bags,
        supersedes=old,
    )
    washes = list(
        Wash.objects.for_group(member.group_id)
        .filter(batch=old)
        .select_related("bag")
        .select_for_update(of=("self",), no_key=True)
    )
    found = {row["code"]: row for row in old.bags}
    for wash in washes:
        stated = set(MEASURED) - set(found[wash.bag.code]["filled"])
        others = Wash(**{name: getattr(wash, name) for name in stated})
        _refuse_other_values(wash.bag, others, washed)
    _say(new, washed)
    for wash in washes:
        _fill(wash, new, found[wash.bag.code]["filled"])
    return new


@transaction.atomic
def withdraw_batch(member: Member, batch: WashBatch, *, why: str) -> WashBatch:
    """Take back a batch that never was; its bags are as they were found."""
    old = _end(member, batch, State.WITHDRAWN, why)
    found = {row["code"]: row for row in old.bags}
    washes = list(
        Wash.objects.for_group(member.group_id)
        .filter(batch=old)
        .select_related("bag")
        .select_for_update(of=("self",), no_key=True)
    )
    made = [wash for wash in washes if found[wash.bag.code]["made"]]
    _refuse_needed(member.group_id, made, old.number)
    for wash in washes:
        row = found[wash.bag.code]
        if row["made"]:
            wash.delete()
        else:
            for name in row["filled"]:
                setattr(wash, name, "" if name == "analyst_name" else None)
            wash.batch = None
            wash.save(update_fields=[*row["filled"], "batch"])
        if wash.bag.way == Bag.Way.WASHED:
            back, note = [wash.bag], "its batch of washes was withdrawn"
            note_steps(member.group_id, back, row["way"], by=member.user, note=note)
            Bag.objects.for_group(member.group_id).filter(pk=wash.bag_id).update(
                way=row["way"]
            )
    return old


def _refuse_needed(farm_group_id: int, washes: list[Wash], number: int) -> None:
    """Keep washes on which counts, blanks or repeat washes rest."""
    tallies = Tally.objects.for_group(farm_group_id).filter(wash__in=washes)
    blanks = BlankWash.objects.for_group(farm_group_id).filter(after__in=washes)
    needed = {
        *tallies.values_list("wash_id", flat=True),
        *blanks.values_list("after_id", flat=True),
    }
    bags = {wash.bag_id: wash.bag.code for wash in washes}
    again = Wash.objects.for_group(farm_group_id).filter(
        bag__in=bags, number__gt=number
    )
    codes = {wash.bag.code for wash in washes if wash.pk in needed}
    codes |= {bags[row.bag_id] for row in again}
    if codes:
        raise WashingError(
            f"Counts, blank washes or repeat washes rest on the washes of bags"
            f" {', '.join(sorted(codes))}. Correct the batch instead."
        )
