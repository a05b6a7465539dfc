"""Make bags for a round, give them label codes, and set how labels are printed."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from django.contrib.gis.geos import Point
from django.db import transaction

from blocks.access import COUNTERS, Member, require
from blocks.models import Block
from monitoring.labels.codes import new_code
from monitoring.models import (
    Bag,
    BagSetting,
    BagStep,
    Round,
    RoundPlan,
    SamplePoint,
    Tissue,
)
from monitoring.services.bag_ways import note_rounds_with_figures
from monitoring.services.settings import NotAllowedValueError

# A round of more would be a slip of the hand.
MOST_BAGS = 500
LONGEST_NUMBER = 9


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """So many bags by canopy position; “” stands for no position."""

    tissue: str
    numbers: Mapping[str, int]
    units: int = 1

    @property
    def total(self) -> int:
        """How many bags in all."""
        return sum(self.numbers.values())


class Place(NamedTuple):
    """Where a bag is to come from: its canopy position, and the vine if it is known."""

    position: str
    point: Point | None = None


@transaction.atomic
def make_bags(member: Member, block: Block, day: date, wanted: Wanted) -> list[Bag]:
    """Make planned bags with label codes for a block's round of a day.

    The round is made with its first bags. Numbers go on after the round's highest.
    Raises NotAllowedValueError, in words, if that makes no sense.
    """
    _refuse_odd(wanted)
    places = [
        Place(position)
        for position, number in wanted.numbers.items()
        for _ in range(number)
    ]
    return _make(member, block, day, wanted=wanted, places=places)


@transaction.atomic
def make_bags_of_plan(member: Member, plan: RoundPlan) -> list[Bag]:
    """Make a plan's bags in the order of its walk, one for each of its vines.

    Raises NotAllowedValueError, in words, for a withdrawn plan, and for one whose
    round has bags of that tissue already.
    """
    if plan.withdrawn_at is not None:
        raise NotAllowedValueError("The plan was withdrawn, so it has no bags.")
    there = Bag.objects.for_group(member.group_id).filter(
        round__block=plan.block_id,
        round__collected_on=plan.planned_on,
        tissue=plan.tissue,
    )
    if there.exists():
        raise NotAllowedValueError(
            f"The round of {plan.planned_on:%-d %B %Y} has bags of this tissue already;"
            " more of them are made on the round's page."
        )
    points = SamplePoint.objects.for_group(member.group_id).filter(plan=plan)
    places = [Place(one.position, one.point) for one in points.order_by("number")]
    wanted = Wanted(tissue=plan.tissue, numbers=Counter(one.position for one in places))
    _refuse_odd(wanted)
    return _make(member, plan.block, plan.planned_on, wanted=wanted, places=places)


def _make(
    member: Member, block: Block, day: date, *, wanted: Wanted, places: list[Place]
) -> list[Bag]:
    require(member, COUNTERS)
    Round.objects.bulk_create(
        [Round(farm_group=member.farm_group, block=block, collected_on=day)],
        ignore_conflicts=True,
    )
    of_round = (
        Round.objects.for_group(member.group_id)
        .select_for_update(no_key=True)
        .get(block=block, collected_on=day)
    )
    bags = Bag.objects.bulk_create(_planned(of_round, wanted, places))
    BagStep.objects.bulk_create(
        BagStep(
            farm_group=member.farm_group,
            bag=bag,
            way=Bag.Way.PLANNED,
            noted_by=member.user,
        )
        for bag in bags
    )
    note_rounds_with_figures(member.group_id, [of_round.pk])
    return bags


def _planned(of_round: Round, wanted: Wanted, places: list[Place]) -> list[Bag]:
    """Make up bags, numbered on from the round's last one, with fresh labels."""
    labels = fresh_labels(of_round.farm_group_id, len(places))
    first = _last_number(of_round) + 1
    return [
        Bag(
            farm_group_id=of_round.farm_group_id,
            round=of_round,
            code=str(number),
            label=label,
            tissue=wanted.tissue,
            position=place.position,
            point=place.point,
            units=wanted.units,
            way=Bag.Way.PLANNED,
        )
        for number, place, label in zip(
            range(first, first + len(places)), places, labels, strict=True
        )
    ]


def _refuse_odd(wanted: Wanted) -> None:
    if wanted.total < 1:
        raise NotAllowedValueError("Say how many bags: at least one.")
    if wanted.total > MOST_BAGS:
        raise NotAllowedValueError(
            f"That makes {wanted.total} bags; at most {MOST_BAGS} are made at a time."
        )
    if wanted.tissue == Tissue.LEAF and wanted.numbers.get("", 0):
        raise NotAllowedValueError(
            "A leaf needs its canopy position: say how many upper, mid and low ones."
        )


def _last_number(of_round: Round) -> int:
    codes = (
        Bag.objects.for_group(of_round.farm_group_id)
        .filter(round=of_round)
        .values_list("code", flat=True)
    )
    numbers = [
        int(code)
        for code in codes
        if code.isascii() and code.isdigit() and len(code) <= LONGEST_NUMBER
    ]
    return max(numbers, default=0)


def fresh_labels(farm_group_id: int, number: int) -> list[str]:
    """Draw label codes that no bag of the group has; 1 query or few more."""
    labels: set[str] = set()
    while len(labels) < number:
        drawn = {new_code() for _ in range(number - len(labels))}
        taken = Bag.objects.for_group(farm_group_id).filter(label__in=drawn)
        labels |= drawn - set(taken.values_list("label", flat=True))
    return list(labels)


@transaction.atomic
def give_labels(member: Member, of_round: Round) -> int:
    """Give each bag of a round that has no label code one; give how many."""
    require(member, COUNTERS)
    bags = list(
        Bag.objects.for_group(member.group_id)
        .filter(round=of_round, label="")
        .select_for_update(no_key=True)
    )
    labels = fresh_labels(member.group_id, len(bags))
    for bag, label in zip(bags, labels, strict=True):
        bag.label = label
    Bag.objects.bulk_update(bags, ["label"])
    return len(bags)


def keep_setting(member: Member, values: Mapping[str, object]) -> None:
    """Set how the group prints its labels and how long its bags may wait."""
    BagSetting.objects.update_or_create(
        farm_group=member.farm_group, defaults=dict(values)
    )
