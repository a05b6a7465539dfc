"""Keep a planned round's day that on which it is walked."""

from datetime import date

from monitoring.models import Bag, Round, RoundPlan, Tally

# Further off than this, a clock is wrong or the bags are of another round.
FURTHEST_DAYS = 14


def walk_on(bag: Bag, day: date) -> str:
    """Move the round of a bag that is collected to that day, and its plan with it.

    Only the first bag of a round moves it: while others are collected already, or
    counted, or the block has a round of that day, it stays. Gives what a person should
    know, in words; nothing where the day is the round's, or too far off to be one of
    its walk. 1 query then, else up to 7.
    """
    of_round: Round = (
        Round.objects.for_group(bag.farm_group_id)
        .select_for_update(of=("self",), no_key=True)
        .get(pk=bag.round_id)
    )
    planned = of_round.collected_on
    if day == planned or abs((day - planned).days) > FURTHEST_DAYS:
        return ""
    if not _may_move(of_round, bag, day):
        return f"collected on {day:%Y-%m-%d}, and its round stays that of {planned}"
    _move_plan(of_round, bag.tissue, day)
    of_round.collected_on = day
    of_round.save(update_fields=["collected_on"])
    return f"its round is now that of {day:%Y-%m-%d}; it was planned for {planned}"


def _may_move(of_round: Round, bag: Bag, day: date) -> bool:
    group_id = of_round.farm_group_id
    others = (
        Bag.objects.for_group(group_id)
        .filter(round=of_round)
        .exclude(pk=bag.pk)
        .exclude(way__in=[Bag.Way.PLANNED, Bag.Way.LOST])
    )
    counted = Tally.objects.for_group(group_id).filter(wash__bag__round=of_round)
    met = Round.objects.for_group(group_id).filter(
        block=of_round.block_id, collected_on=day
    )
    return not (others.exists() or counted.exists() or met.exists())


def _move_plan(of_round: Round, tissue: str, day: date) -> None:
    plans = RoundPlan.objects.for_group(of_round.farm_group_id).filter(
        block=of_round.block_id, tissue=tissue, withdrawn_at=None
    )
    if not plans.filter(planned_on=day).exists():
        plans.filter(planned_on=of_round.collected_on).update(planned_on=day)
