"""Mite-days of a block in one season, for each tissue and organism."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from math import isfinite

from monitoring.densities.working import recovery_of
from monitoring.estimation import MiteDays, StoredPosterior, mite_days
from monitoring.models import Density, Organism, Round
from monitoring.queries.seasons import Season
from monitoring.words import day, figure, interval

# Rounds further apart belong to two seasons.
BETWEEN_SEASONS = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class Period:
    """One season of a block: its rounds, oldest first."""

    rounds: list[Round]

    @property
    def first_on(self) -> date:
        """The day of the first round."""
        return self.rounds[0].collected_on

    @property
    def last_on(self) -> date:
        """The day of the last round."""
        return self.rounds[-1].collected_on

    @property
    def name(self) -> str:
        """The year, or both years where the season runs over the turn of the year."""
        if self.first_on.year == self.last_on.year:
            return f"{self.first_on.year}"
        return f"{self.first_on.year}/{self.last_on.year % 100:02d}"


def periods_of(rounds: Sequence[Round]) -> list[Period]:
    """Split a block's rounds into seasons, newest season first."""
    ordered = sorted(rounds, key=lambda one: one.collected_on)
    periods: list[Period] = []
    for one in ordered:
        new = not periods or one.collected_on - periods[-1].last_on > BETWEEN_SEASONS
        if new:
            periods.append(Period([]))
        periods[-1].rounds.append(one)
    return periods[::-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """What the stretch between two rounds adds, as the working shows it."""

    first: Density
    then: Density
    days: int
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MiteDaySum:
    """The mite-days of one organism on one tissue; `result` None with one round."""

    tissue: str
    organism: Organism
    rows: list[Density]
    left_out: list[Density]
    result: MiteDays | None

    @property
    def unit(self) -> str:
        """What is added up."""
        mites = self.organism.name.lower().endswith(("mite", "mites"))
        return f"{'mite' if mites else 'animal'}-days per {self.tissue}"

    @property
    def at_least(self) -> bool:
        """Whether bags that could not be counted make the sum a lower bound."""
        return any(row.at_least for row in self.rows)

    def upto(self, place: int) -> str:
        """Write the sum up to a round with its interval."""
        if self.result is None or place == 0:
            return "0, the sum begins here" if self.result else ""
        return self._words(
            float(self.result.cumulative[place]),
            float(self.result.cumulative_low[place]),
            self._high(
                float(self.result.cumulative_high[place]), self.rows[: place + 1]
            ),
        )

    @property
    def total_words(self) -> str:
        """The whole sum with its interval."""
        return self.upto(len(self.rows) - 1) if self.result else ""

    @property
    def log_linear_words(self) -> str:
        """The sum by exponential lines between rounds."""
        return figure(self.result.log_linear_total) if self.result else ""

    @property
    def terms(self) -> list[Term]:
        """What each stretch adds, with its interval."""
        if self.result is None:
            return []
        found = self.result
        return [
            Term(
                first=first,
                then=then,
                days=(then.round.collected_on - first.round.collected_on).days,
                words=self._words(
                    float(found.terms[place]),
                    float(found.terms_low[place]),
                    self._high(float(found.terms_high[place]), [first, then]),
                ),
            )
            for place, (first, then) in enumerate(pairwise(self.rows))
        ]

    def high_at(self, place: int) -> float | None:
        """Give the upper end of the sum up to a round; None where there is none."""
        if self.result is None:
            return None
        return self._high(
            float(self.result.cumulative_high[place]), self.rows[: place + 1]
        )

    def _high(self, high: float, rows: Sequence[Density]) -> float | None:
        # A stored density without an upper limit still has quantiles, which follow
        # the prior's end there.
        endless = len(rows) > 1 and any(row.high is None for row in rows)
        return high if isfinite(high) and not endless else None

    def _words(self, value: float, low: float, high: float | None) -> str:
        least = "at least " if self.at_least else ""
        return f"{least}{figure(value)} ({interval(low, high)})"

    @property
    def notes(self) -> list[str]:
        """What the reader must know beside the figure, in sentences."""
        if self.result is None:
            return []
        told = [
            f"The round of {day(row.round.collected_on)} has no figure"
            f" ({row.reason}); the line runs on past it."
            for row in self.left_out
        ]
        if self.at_least:
            told.append(
                "Bags that could not be counted were left out of a round, so the sum"
                " is “at least”."
            )
        return told


def mite_day_sums(season: Season, period: Period) -> list[MiteDaySum]:
    """Add up every organism's densities on every tissue in a season."""
    wanted = {one.pk for one in period.rounds}
    found = []
    for tissue in season.tissues:
        part = season.of_tissue(tissue)
        for organism in season.organisms:
            mine = [
                row
                for row in part.densities
                if row.organism_id == organism.pk and row.round_id in wanted
            ]
            if mine:
                found.append(_sum(tissue, organism, mine))
    return found


def _sum(tissue: str, organism: Organism, mine: list[Density]) -> MiteDaySum:
    rows = [row for row in mine if row.quantiles]
    result = None
    if len(rows) > 1:
        first = rows[0].round.collected_on
        result = mite_days(
            [(row.round.collected_on - first).days for row in rows],
            [StoredPosterior(tuple(row.quantiles)) for row in rows],
            recoveries=[recovery_of(row.used["recovery"]) for row in rows],
        )
    return MiteDaySum(
        tissue=tissue,
        organism=organism,
        rows=rows,
        left_out=[row for row in mine if not row.quantiles],
        result=result,
    )
