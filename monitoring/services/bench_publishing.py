"""From a judged reading to published tallies, and what keeps it from that."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import date, datetime, timedelta
from typing import Any, Literal

from django.utils import timezone

from blocks.access import Member
from monitoring.bench.judging import Counted, Doubt, plan_of
from monitoring.models import (
    Bag,
    BenchReading,
    CellCount,
    Dish,
    Organism,
    Round,
    SymptomScale,
    SymptomScore,
    Tally,
    Wash,
)
from monitoring.queries.laboratory import scale_on
from monitoring.services.bag_ways import note_steps
from monitoring.services.changes import note_changed_rounds

Way = Bag.Way
BEFORE_COUNTED = (Way.PLANNED, Way.COLLECTED, Way.RECEIVED, Way.WASHED, Way.LOST)
# first: nothing stood in its place. recount: beside what stands, not chosen.
# instead: chosen, and what was chosen is kept beside it. although: despite doubts.
How = Literal["first", "recount", "instead", "although"]
LONGEST_REASON = 300
# A device's clock that is further off than this tells no day.
BELIEVED = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """How a reading is published, by whom, and why where somebody had to decide."""

    member: Member
    how: How = "first"
    why: str = ""
    score_stands: bool = False


@dataclass(frozen=True, slots=True)
class Scored:
    """The symptom score of a reading, and the one that stands for its bag."""

    score: int
    scored_on: date
    scale: SymptomScale | None
    standing: SymptomScore | None


def believed_day(claimed: datetime, received: datetime, member: Member) -> date:
    """Give the local day of an event: as the device claims, if that may be."""
    off = abs(received - claimed)
    moment = claimed if off <= BELIEVED else received
    return timezone.localtime(min(moment, received), member.farm_group.zone).date()


def scored(reading: BenchReading, score: object, day: date) -> Scored | None:
    """Set a reading's score beside its bag's; None where none was given; 2 queries."""
    if not isinstance(score, int) or isinstance(score, bool):
        return None
    standing = (
        SymptomScore.objects.for_group(reading.farm_group_id)
        .filter(bag=reading.bag_id, state=SymptomScore.State.PUBLISHED)
        .select_related("scale")
        .first()
    )
    return Scored(score, day, scale_on(reading.farm_group_id, day), standing)


def standing_of(reading: BenchReading) -> dict[int, list[Tally]]:
    """Give what is published in the place of a reading, by organism; 1 query."""
    found: dict[int, list[Tally]] = defaultdict(list)
    for tally in Tally.objects.for_group(reading.farm_group_id).filter(
        wash__bag=reading.bag_id,
        wash__number=reading.wash_number,
        dish_number=reading.dish_number,
        state=Tally.State.PUBLISHED,
    ):
        found[tally.organism_id].append(tally)
    return found


def doubts_of_place(
    reading: BenchReading,
    counted: Sequence[Counted],
    organisms: Mapping[str, Organism],
    standing: Mapping[int, list[Tally]],
) -> list[Doubt]:
    """Tell what stands in a reading's place and keeps it from being published."""
    again = [
        organisms[one.organism].name
        for one in counted
        if standing.get(organisms[one.organism].pk)
    ]
    if not again or reading.recount:
        return []
    return [
        Doubt(
            "already-counted",
            f"This dish has counts published already ({', '.join(again)}), and the"
            " reading was not begun as a recount.",
        )
    ]


def doubts_of_score(score: Scored | None) -> list[Doubt]:
    """Tell what of a reading's symptom score keeps it from being published."""
    if score is None:
        return []
    scale, standing = score.scale, score.standing
    if scale is None or not scale.lowest <= score.score <= scale.highest:
        has = f"goes from {scale}" if scale else "is not set"
        return [
            Doubt(
                "score-unknown",
                f"It scores the symptoms {score.score}, and the group's scale {has}."
                " Published, the score is left out.",
            )
        ]
    if standing is not None and standing.score != score.score:
        return [
            Doubt(
                "score-differs",
                f"It scores the symptoms {score.score}, and the bag has the score"
                f" {standing.score} already.",
            )
        ]
    return []


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """What a finished reading comes to, with what it meets."""

    folded: dict[str, Any]
    counted: list[Counted]
    doubts: list[Doubt]
    organisms: dict[str, Organism]
    # What was published in its place when it was judged, by organism.
    standing: dict[int, list[Tally]] = field(default_factory=dict)
    score: Scored | None = None

    def told(self) -> dict[str, Any]:
        """Write it down as it is kept with the reading."""
        return {
            "folded": {
                key: value for key, value in self.folded.items() if key != "started"
            },
            "counted": [one.as_json() for one in self.counted],
            "doubts": [doubt.code for doubt in self.doubts],
            "plan": asdict(plan_of(self.folded["started"])),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """Where the tallies of a reading go: its wash, and what stands there."""

    reading: BenchReading
    bag: Bag
    dish: Dish
    wash: Wash
    standing: Mapping[int, list[Tally]]
    terms: Terms


def publish_reading(reading: BenchReading, done: Finished, terms: Terms) -> None:
    """Write the tallies of a reading, and what follows from them, in one go.

    The reading's row and its bag's must be locked. Raises IntegrityError where
    somebody published in the same place since it was judged.
    """
    group_id = reading.farm_group_id
    bag = Bag.objects.for_group(group_id).get(pk=reading.bag_id)
    place = _Place(
        reading=reading,
        bag=bag,
        dish=Dish.objects.for_group(group_id).get(pk=reading.dish_id),
        wash=_wash(reading, bag),
        standing=done.standing,
        terms=terms,
    )
    organisms = [done.organisms[one.organism] for one in done.counted]
    if terms.how == "instead":
        _step_back(place, organisms)
    tallies = [
        _tally(place, one, organism)
        for one, organism in zip(done.counted, organisms, strict=True)
    ]
    Tally.objects.bulk_create(tallies)
    CellCount.objects.bulk_create(
        CellCount(farm_group_id=group_id, tally=tally, cell=cell, count=count)
        for tally, one in zip(tallies, done.counted, strict=True)
        for cell, count in one.cells
    )
    _move_bag(bag, terms.member)
    if done.score is not None:
        _score(place, done.score)
    rounds = Round.objects.for_group(group_id).filter(pk=bag.round_id)
    note_changed_rounds(group_id, rounds)
    reading.state = BenchReading.State.PUBLISHED


def _wash(reading: BenchReading, bag: Bag) -> Wash:
    """Find the reading's wash, or make it; it fills as many dishes as were counted."""
    wash, made = Wash.objects.get_or_create(
        farm_group_id=reading.farm_group_id,
        bag=bag,
        number=reading.wash_number,
        defaults={"dishes": reading.dish_number},
    )
    if not made and wash.dishes < reading.dish_number:
        wash.dishes = reading.dish_number
        wash.save(update_fields=["dishes"])
    return wash


def _step_back(place: _Place, organisms: list[Organism]) -> None:
    """Let the readings chosen so far be readings beside the new one."""
    stepping = [
        tally.pk
        for organism in organisms
        for tally in place.standing.get(organism.pk, [])
        if tally.chosen
    ]
    Tally.objects.for_group(place.reading.farm_group_id).filter(pk__in=stepping).update(
        chosen=False
    )


def _tally(place: _Place, one: Counted, organism: Organism) -> Tally:
    reading, terms = place.reading, place.terms
    before = place.standing.get(organism.pk, [])
    has_chosen = any(tally.chosen for tally in before) and terms.how != "instead"
    named = one.scope == Tally.Scope.NAMED_CELLS
    analyst = reading.analyst
    return Tally(
        farm_group_id=reading.farm_group_id,
        wash=place.wash,
        organism=organism,
        dish=place.dish,
        dish_number=reading.dish_number,
        reading=max((tally.reading for tally in before), default=0) + 1,
        scope=one.scope,
        cells_counted=len(one.cells) if named else None,
        proportion_counted=one.proportion,
        outcome=(
            Tally.Outcome.UNCOUNTABLE if one.count is None else Tally.Outcome.COUNTED
        ),
        count=one.count,
        chosen=not has_chosen,
        reason=terms.why[:LONGEST_REASON],
        source_reading=reading,
        blind=reading.blind,
        magnification=reading.magnification,
        pilot_cells=one.pilot,
        animals_in_dish=one.animals,
        analyst=analyst,
        analyst_name=analyst.name if analyst else "",
        created_by=terms.member.user,
    )


def _move_bag(bag: Bag, member: Member) -> None:
    """Take the bag to counted; one that was lost and has counts is found."""
    if bag.way not in BEFORE_COUNTED:
        return
    note_steps(bag.farm_group_id, [bag], Way.COUNTED, by=member.user)
    bag.way = Way.COUNTED
    bag.save(update_fields=["way"])


def _score(place: _Place, score: Scored) -> None:
    scale, standing, terms = score.scale, score.standing, place.terms
    if scale is None or not scale.lowest <= score.score <= scale.highest:
        return
    if standing is not None:
        if standing.score == score.score or not terms.score_stands:
            return
        standing.state = SymptomScore.State.SUPERSEDED
        standing.save(update_fields=["state"])
    analyst = place.reading.analyst
    SymptomScore.objects.create(
        farm_group_id=place.bag.farm_group_id,
        bag=place.bag,
        scale=scale,
        score=score.score,
        supersedes=standing,
        reason=terms.why[:LONGEST_REASON] if standing else "",
        scored_on=score.scored_on,
        scorer=analyst,
        scorer_name=analyst.name if analyst else "",
        created_by=terms.member.user,
    )
