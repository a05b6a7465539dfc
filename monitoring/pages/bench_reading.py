"""A reading at the bench in words: what was counted where, and beside what."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.dateparse import parse_datetime

from blocks.access import Member
from monitoring.bench.dish_figures import figure_of_dish
from monitoring.bench.folding import UNDOABLE, fold
from monitoring.bench.judging import Counted
from monitoring.estimation import CountComparison, compare_counts
from monitoring.models import BenchEvent, BenchReading, Organism, Tally
from monitoring.pages.bench_figure import counted_of, dish_words, plan_kept
from monitoring.pages.dish_cells_page import grid_of
from monitoring.queries.bench_acts import acts_total
from monitoring.queries.bench_readings import (
    as_folded,
    events_of,
    organisms_by_key,
    place_of,
    readings_to_do,
    standing_tallies,
    tallies_of,
    totals_to_do,
)

State = BenchReading.State
NOT_OURS = "an organism that this group does not count"
CHOICES = {
    "recount": "kept as a recount",
    "instead": "used instead of what stood",
    "choose": "chosen for the figures",
    "although": "published although it was in doubt",
    "set_aside": "set aside",
    "take_up": "taken up again",
    "give": "given its bag or dish",
}


@dataclass(frozen=True, slots=True)
class Beside:
    """A reading's count of an organism beside one that is published.

    comparison is None where one of them was not countable.
    """

    organism: str
    tally: Tally
    count: int | None
    cells: int | None
    comparison: CountComparison | None

    @property
    def words(self) -> str:
        """How far they are apart, in words."""
        found = self.comparison
        if found is None:
            return "one of them was not countable"
        percent = 100 * found.relative_difference
        meet = "overlap" if found.overlap else "do not overlap"
        apart = f"{percent:+.0f} %" if percent else "no difference"
        return f"{apart}, z {found.z:+.1f}; Poisson intervals {meet}"


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """A cell or a row: what was pressed there, and whether it was read to its end."""

    place: str
    counts: list[int | None]
    state: str


@dataclass(frozen=True, slots=True)
class Undone:
    """An act that was taken back."""

    words: str
    at: datetime


@dataclass(frozen=True, slots=True)
class OrganismLine:
    """What a reading comes to for one organism."""

    name: str
    count: int | None
    part: str
    in_dish: str
    tally: Tally | None


@dataclass(frozen=True, slots=True)
class ReadingPage:
    """Everything that the page of a reading shows."""

    comes_to: str
    lines: list[OrganismLine]
    beside: list[Beside]
    columns: list[str]
    places: list[PlaceLine]
    undone: list[Undone]
    odd: list[str]
    refused: int
    events: int
    note: str
    score: int | None
    decisions: list[dict[str, Any]]
    first_at: datetime | None = None
    last_at: datetime | None = None
    received_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Waiting:
    """A reading that waits for a person, with what stands in its place."""

    reading: BenchReading
    beside: list[Beside] = field(default_factory=list)


def reading_page(reading: BenchReading) -> ReadingPage:
    """Gather what a reading's page shows; 4 queries."""
    events = events_of(reading)
    folded = fold(as_folded(events))
    organisms = organisms_by_key(reading.farm_group_id)
    standing = standing_tallies(reading.farm_group_id, [reading])
    others = [
        tally
        for tally in standing.get(place_of(reading), [])
        if tally.source_reading_id != reading.pk
    ]
    tallies = tallies_of(reading)
    counted = counted_of(reading.told)
    lines = _lines(reading, folded, organisms, tallies)
    return ReadingPage(
        comes_to=_comes_to(lines),
        lines=lines,
        beside=beside(counted, others, organisms),
        columns=[_name(key, organisms) for key in folded["organisms"]],
        places=_places(folded),
        undone=_undone(events, folded, organisms),
        odd=folded["odd"],
        refused=sum(bool(row.refusal) for row in events),
        events=len(events),
        note=folded["note"],
        score=folded["score"],
        decisions=_decisions(reading.told),
        first_at=events[0].device_at if events else None,
        last_at=events[-1].device_at if events else None,
        received_at=max((row.received_at for row in events), default=None),
    )


def _comes_to(lines: Iterable[OrganismLine]) -> str:
    """Say in one breath what a published reading found."""
    found = [
        f"{line.name} uncountable"
        if line.count is None
        else f"{line.in_dish} {line.name}"
        for line in lines
        if line.tally is not None
    ]
    return f"{', '.join(found)} in the dish" if found else "nothing was counted"


def _decisions(told: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            **one,
            "words": CHOICES.get(one["choice"], one["choice"]),
            "at": parse_datetime(one["at"]),
        }
        for one in told.get("decisions", [])
    ]


def _name(key: str, organisms: Mapping[str, Organism]) -> str:
    return organisms[key].name if key in organisms else NOT_OURS


def beside(
    counted: Iterable[Counted],
    tallies: Sequence[Tally],
    organisms: Mapping[str, Organism],
) -> list[Beside]:
    """Set a reading's counts beside the published ones of the same dish."""
    return [
        Beside(
            organism=organisms[one.organism].name,
            tally=tally,
            count=one.count,
            cells=len(one.cells) or None,
            comparison=_compared(one, tally),
        )
        for one in counted
        if one.organism in organisms
        for tally in tallies
        if tally.organism_id == organisms[one.organism].pk
    ]


def _compared(one: Counted, tally: Tally) -> CountComparison | None:
    if one.count is None or tally.count is None:
        return None
    share = one.count / one.animals if one.count and one.animals else one.proportion
    return compare_counts(
        tally.count,
        one.count,
        first_share=min(tally.share_of_animals, 1.0),
        second_share=min(share, 1.0),
    )


def _lines(
    reading: BenchReading,
    folded: Mapping[str, Any],
    organisms: Mapping[str, Organism],
    tallies: Iterable[Tally],
) -> list[OrganismLine]:
    by_key = {one.organism: one for one in counted_of(reading.told)}
    by_organism = {tally.organism_id: tally for tally in tallies}
    lines = []
    for key, organism in folded["organisms"].items():
        one = by_key.get(key)
        known = organisms.get(key)
        lines.append(
            OrganismLine(
                name=_name(key, organisms),
                count=None if organism["uncountable"] else organism["count"],
                part=_part(organism, folded),
                in_dish=_in_dish(one, reading),
                tally=by_organism.get(known.pk) if known else None,
            )
        )
    return lines


def _part(organism: Mapping[str, Any], folded: Mapping[str, Any]) -> str:
    if organism["uncountable"]:
        return "found uncountable"
    read = len(folded["read"][organism["scope"]])
    what = "row" if organism["scope"] == "whole" else "cell"
    called = folded["called"] if what == "cell" else None
    of = f", {called} called for" if called else ""
    return f"{read} {what}{'' if read == 1 else 's'} read{of}"


def _in_dish(one: Counted | None, reading: BenchReading) -> str:
    if one is None or reading.dish is None:
        return ""
    grid, plan = grid_of(reading.dish), plan_kept(reading.told)
    found = figure_of_dish(one, grid=grid, plan=plan)
    return dish_words(one, found) if found else ""


def _places(folded: Mapping[str, Any]) -> list[PlaceLine]:
    """List places in the order read, then those skipped, then those left open."""
    organisms = folded["organisms"]
    found = []
    for name in ("cells", "whole"):
        scoped = [one for one in organisms.values() if one["scope"] == name]
        pressed = dict.fromkeys(place for one in scoped for place in one["places"])
        read, skipped = folded["read"][name], folded["skipped"][name]
        states = dict.fromkeys(read, "read")
        states |= {
            place: f"skipped: {why}" if why else "skipped"
            for place, why in skipped.items()
        }
        states |= {
            place: "not read to its end, not counted"
            for place in pressed
            if place not in states
        }
        found += [
            PlaceLine(
                place,
                [
                    one["places"].get(place, 0) if one["scope"] == name else None
                    for one in organisms.values()
                ],
                state,
            )
            for place, state in states.items()
        ]
    return found


def _undone(
    events: Iterable[BenchEvent],
    folded: Mapping[str, Any],
    organisms: Mapping[str, Organism],
) -> list[Undone]:
    """List acts that stand undone, as the last undo of each left them."""
    if not folded["undone"]:
        return []
    acts = {str(row.uuid): row for row in events if row.kind in UNDOABLE}
    taken_back: dict[str, datetime] = {}
    for row in events:
        if row.refusal or row.kind not in {"undo", "redo"}:
            continue
        target = str(row.payload.get("event"))
        taken_back.pop(target, None)
        if row.kind == "undo" and target in acts:
            taken_back[target] = row.device_at
    return [
        Undone(_act_words(acts[key], organisms), at) for key, at in taken_back.items()
    ]


def _act_words(row: BenchEvent, organisms: Mapping[str, Organism]) -> str:
    payload = row.payload
    named = payload.get("organism")
    parts = [
        row.kind,
        _name(str(named), organisms) if named else "",
        str(payload.get("place", payload.get("value", payload.get("cells", "")))),
    ]
    return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class ToDoPage:
    """What waits for a person at the bench."""

    sentence: str
    waiting: list[Waiting]
    apart: list[BenchReading]
    open: list[BenchReading]
    totals: dict[str, int]


def to_do_page(member: Member) -> ToDoPage:
    """Gather what waits, with both counts side by side; 7 queries."""
    totals = totals_to_do(member)
    waiting = readings_to_do(member, State.WAITING)
    organisms = organisms_by_key(member.group_id)
    standing = standing_tallies(member.group_id, waiting)
    return ToDoPage(
        sentence=_to_do_words(totals, acts=acts_total(member)),
        waiting=[
            Waiting(
                reading,
                beside(
                    counted_of(reading.told),
                    standing.get(place_of(reading), []),
                    organisms,
                ),
            )
            for reading in waiting
        ],
        apart=readings_to_do(member, State.QUARANTINED),
        open=readings_to_do(member, State.OPEN),
        totals=totals,
    )


def _to_do_words(totals: Mapping[str, int], *, acts: int) -> str:
    waiting, apart = totals[State.WAITING], totals[State.QUARANTINED]
    counting = totals[State.OPEN]
    parts = []
    if waiting:
        parts.append(
            f"{waiting} reading{' waits' if waiting == 1 else 's wait'} for a decision"
        )
    if apart:
        parts.append(
            f"{apart} {'is' if apart == 1 else 'are'} set apart, since the bag or the"
            " dish is not known"
        )
    if acts:
        parts.append(
            f"{acts} act{'' if acts == 1 else 's'} of collecting or washing"
            f" wait{'s' if acts == 1 else ''} for a decision"
        )
    if counting:
        parts.append(
            f"{counting} {'is' if counting == 1 else 'are'} being counted, or not all"
            " sent"
        )
    if not parts:
        return "Nothing from the bench waits for you."
    told = "; ".join(parts)
    return f"{told[:1].upper()}{told[1:]}."
