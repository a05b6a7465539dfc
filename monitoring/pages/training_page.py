"""What the pages of training list: a record, dishes to count, everybody."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from blocks.models import User
from monitoring.figures.training import Series, progress_figure
from monitoring.models import (
    AgreementStandard,
    ReferenceDish,
    ReferenceReading,
    Tally,
)
from monitoring.pages import training_words as words
from monitoring.pages.agreement import FEWEST_PAIRS
from monitoring.pages.training_record import (
    Compared,
    Standing,
    of_reading,
    of_readings,
    of_recounts,
    standings_of,
)
from monitoring.words import sentence_case

# From fewer dishes nothing is drawn.
FEWEST_DRAWN = 2


@dataclass(frozen=True, slots=True)
class Line:
    """A row of a record's table.

    for_another: whether somebody else looks, for whom sums of a few dishes would spoil
    those dishes.
    """

    standing: Standing
    for_another: bool = False

    @property
    def name(self) -> str:
        """The organism and the magnification."""
        return sentence_case(words.kind(self.standing))

    @property
    def concordance(self) -> str:
        """Lin's coefficient with its interval, or why there is none."""
        found = self.standing.concordance
        if found is None:
            few = self.standing.dishes < FEWEST_PAIRS
            return "too few dishes" if few else "cannot be told: nothing varies"
        if found.low == found.high:
            return "1: the same in every dish"
        # A coefficient short of 1 is never rounded up to it.
        middle, low, high = (
            min(one, 0.999) for one in (found.coefficient, found.low, found.high)
        )
        return f"{middle:.3f} ({low:.3f} to {high:.3f})"

    @property
    def limits(self) -> str:
        """Limits of the ratio, or why there are none."""
        found = self.standing.limits
        if found is None:
            full = len(self.standing.full)
            if not full:
                return "few animals in every dish"
            return f"{full} with 20 animals or more; it takes {FEWEST_PAIRS}"
        return f"{found.low:.2f} to {found.high:.2f} times"

    @property
    def few(self) -> str:
        """How dishes of few animals were counted."""
        if self.for_another and self.standing.dishes < FEWEST_PAIRS:
            return f"told from {FEWEST_PAIRS} dishes on"
        return words.few_words(self.standing.few)

    @property
    def verdict(self) -> str:
        """How it stands with the lab's standard."""
        if self.standing.standard is None:
            return "no standard stated"
        return words.more_words(self.standing)


@dataclass(frozen=True, slots=True)
class Record:
    """Everything about one counter."""

    person: User
    sentence: str
    standard: AgreementStandard | None
    standard_words: str
    references: list[Line]
    recounts: list[Line]
    senior: User | None
    against: str
    withdrawn: int
    in_sight: int
    figure: dict[str, Any] | None
    fewest: int = FEWEST_PAIRS


@dataclass(frozen=True, slots=True)
class CountedDish:
    """A dish that was counted; the figures only for whom they spoil nothing."""

    reading: ReferenceReading
    compared: list[Compared]


@dataclass(frozen=True, slots=True)
class TeamMember:
    """One counter among all, for the coordinator."""

    person: User
    lines: list[Line]


def record_of(
    *,
    person: User,
    readings: Sequence[ReferenceReading],
    recounts: Sequence[Sequence[Tally]],
    senior: User | None,
    standard: AgreementStandard | None,
    for_another: bool = False,
) -> Record:
    """Sum up what one counter counted: reference dishes, and real ones again.

    for_another: whether somebody else looks, who may yet count the same dishes.
    """
    references = standings_of(of_readings(readings), standard)
    again = of_recounts(recounts, person=person, senior=senior)
    other = senior is None or senior.pk == person.pk
    return Record(
        person=person,
        sentence=words.sentence_of(references, standard),
        standard=standard,
        standard_words=words.standard_words(standard),
        references=[Line(one, for_another) for one in references],
        recounts=[Line(one) for one in standings_of(again.compared, standard)],
        in_sight=again.in_sight,
        figure=_progress(readings, standard),
        senior=senior,
        against="the other reader" if other or senior is None else senior.name,
        withdrawn=sum(not one.reference.stands for one in readings),
    )


def _progress(
    readings: Iterable[ReferenceReading], standard: AgreementStandard | None
) -> dict[str, Any] | None:
    """Draw the dishes in their order; None before two with enough animals."""
    by_kind: dict[tuple[int, float], list[tuple[int, str, Compared]]] = defaultdict(
        list
    )
    standing = [one for one in readings if one.reference.stands]
    for turn, reading in enumerate(standing, start=1):
        for one in of_reading(reading):
            if not one.is_few:
                key = one.organism.position, reading.magnification
                by_kind[key].append((turn, reading.reference.name, one))
    if sum(map(len, by_kind.values())) < FEWEST_DRAWN:
        return None
    return progress_figure(
        [_series(rows) for _, rows in sorted(by_kind.items())],
        widest_ratio=standard.widest_ratio if standard else None,
    )


def _series(rows: Sequence[tuple[int, str, Compared]]) -> Series:
    first = rows[0][2]
    name = f"{first.organism.name} at {words.times(first.magnification)}"
    return Series(
        name=name,
        position=first.organism.position,
        turns=[turn for turn, _, _ in rows],
        ratios=[one.ratio for _, _, one in rows],
        # Ratios only: a coordinator may not have counted these dishes yet.
        labels=[f"{dish}, {name}: {one.ratio:.2f} times" for _, dish, one in rows],
    )


def shown_references(
    references: Iterable[ReferenceDish],
    own: Sequence[ReferenceReading],
    *,
    known: Collection[int] | None = None,
) -> tuple[list[ReferenceDish], list[CountedDish]]:
    """Part what is to be counted from what was counted, the newest first.

    known: keys of the dishes whose figures may be shown; all that were counted, if not
    given.
    """
    done = {one.reference_id for one in own}
    to_count = [one for one in references if one.pk not in done and one.stands]
    counted = [
        CountedDish(
            one,
            of_reading(one) if known is None or one.reference_id in known else [],
        )
        for one in reversed(own)
    ]
    return to_count, counted


def team_of(
    readings: Iterable[ReferenceReading], standard: AgreementStandard | None
) -> list[TeamMember]:
    """Sum up everybody's reference dishes, by name."""
    by_person: dict[int, list[ReferenceReading]] = defaultdict(list)
    for one in readings:
        by_person[one.reader_id].append(one)
    team = [
        TeamMember(
            own[0].reader,
            [Line(one) for one in standings_of(of_readings(own), standard)],
        )
        for own in by_person.values()
    ]
    return sorted(team, key=lambda one: (one.person.name, one.person.pk))
