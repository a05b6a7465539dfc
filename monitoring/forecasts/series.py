"""The rounds that a forecast looks at: of one block, tissue and organism, in order."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from monitoring.densities.inputs import (
    Settings,
    recovery_value,
    settings_of,
    shares_of,
)
from monitoring.densities.samples import BagCount, Sample, samples_of_rounds
from monitoring.estimation import BetaRecovery, CountedRound
from monitoring.estimation.density import mean_of
from monitoring.models import Density, Round, TreatedBlock
from monitoring.queries.treatments import treated_blocks

# Rounds further apart belong to two seasons: nothing is known of the time between.
BETWEEN_SEASONS = timedelta(days=120)
# A position in which nothing was found weighs as if it held this share of the mean.
LEAST_FACTOR = 0.02


class Subject(NamedTuple):
    """What is counted where."""

    block_id: int
    tissue: str
    organism_id: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One round's bags of a subject, with what turns counts into densities.

    shares: of the canopy's leaves by position; None where bags are pooled.
    """

    round: Round
    sample: Sample
    density: Density | None
    recovery: float | BetaRecovery
    shares: Mapping[str, float] | None

    @property
    def day(self) -> date:
        """When the bags were collected."""
        return self.round.collected_on

    @property
    def bags(self) -> list[BagCount]:
        """The bags counted."""
        return self.sample.counted

    @property
    def animals(self) -> int:
        """Animals seen in all bags."""
        return sum(bag.animals for bag in self.bags)

    @property
    def mean_of_bags(self) -> float:
        """Animals per unit, each bag corrected for its own share and the recovery."""
        washed_off = [
            bag.animals / (bag.proportion_counted * bag.units) for bag in self.bags
        ]
        return sum(washed_off) / len(washed_off) / mean_of(self.recovery)

    @property
    def share_counted(self) -> float:
        """The mean share of the washes that was looked at."""
        return sum(bag.proportion_counted for bag in self.bags) / len(self.bags)


@dataclass(frozen=True, slots=True)
class Series:
    """A subject's visits with bags counted, oldest first, and its block's treatments.

    treated_on: days, oldest first.
    """

    subject: Subject
    visits: list[Visit]
    treated_on: list[date]

    def seasons(self) -> list[list[Visit]]:
        """Split the visits into seasons, oldest first."""
        found: list[list[Visit]] = []
        for visit in self.visits:
            new = not found or visit.day - found[-1][-1].day > BETWEEN_SEASONS
            if new:
                found.append([])
            found[-1].append(visit)
        return found

    def latest_treatment(self, *, until: date, since: date) -> date | None:
        """Give the last treatment between two days, both counted in."""
        days = [day for day in self.treated_on if since <= day <= until]
        return days[-1] if days else None


def read_series(
    farm_group_id: int,
    blocks: Collection[int],
    subjects: Collection[Subject],
    *,
    since: date = date.min,
) -> dict[Subject, Series]:
    """Read the visits of subjects on blocks since a day; 6 queries.

    Wash 1 and the chosen reading only, as for densities. Subjects never counted are
    left out.
    """
    rounds = {
        one.pk: one
        for one in Round.objects.for_group(farm_group_id)
        .filter(block__in=list(blocks), collected_on__gte=since)
        .order_by("collected_on", "pk")
    }
    settings = settings_of(farm_group_id)
    densities = _densities(farm_group_id, blocks)
    treated = _treated(treated_blocks(farm_group_id, blocks))
    visits: dict[Subject, list[Visit]] = defaultdict(list)
    for sample in samples_of_rounds(farm_group_id, list(rounds)):
        of_round = rounds[sample.round_id]
        subject = Subject(of_round.block_id, sample.tissue, sample.organism_id)
        if subject in subjects and sample.counted:
            visits[subject].append(
                _visit(of_round, sample, settings, densities.get(_key(sample)))
            )
    return {
        subject: Series(
            subject,
            sorted(found, key=lambda visit: visit.day),
            treated.get(subject.block_id, []),
        )
        for subject, found in visits.items()
    }


def _key(sample: Sample) -> tuple[int, str, int]:
    return sample.round_id, sample.tissue, sample.organism_id


def _visit(
    of_round: Round, sample: Sample, settings: Settings, density: Density | None
) -> Visit:
    recovery = settings.recovery_on(
        of_round.collected_on, organism_id=sample.organism_id, tissue=sample.tissue
    )
    return Visit(
        of_round,
        sample,
        density,
        recovery_value(recovery),
        shares_of(sample, settings.weights_on(of_round.collected_on)),
    )


def _densities(
    farm_group_id: int, blocks: Collection[int]
) -> dict[tuple[int, str, int], Density]:
    rows = (
        Density.objects.for_group(farm_group_id)
        .filter(
            is_current=True,
            stratum="",
            round__farm_group_id=farm_group_id,
            round__block__in=list(blocks),
        )
        .defer("quantiles", "used")
    )
    return {(row.round_id, row.tissue, row.organism_id): row for row in rows}


def _treated(rows: Iterable[TreatedBlock]) -> dict[int, list[date]]:
    days: dict[int, set[date]] = defaultdict(set)
    for row in rows:
        if row.part == TreatedBlock.Part.TREATED:
            days[row.block_id].add(row.treatment.treated_on)
    return {block_id: sorted(found) for block_id, found in days.items()}


def counted_rounds(visits: Sequence[Visit]) -> list[CountedRound]:
    """Give visits as the estimators take them, days by their ordinals."""
    return [
        CountedRound(
            day=float(visit.day.toordinal()),
            counts=[bag.animals for bag in visit.bags],
            exposures=exposures,
        )
        for visit, exposures in zip(visits, exposures_of(visits), strict=True)
    ]


def exposures_of(visits: Sequence[Visit]) -> list[list[float]]:
    """Give each visit's bags' exposures: units times share counted times recovery.

    Where leaves are weighted by canopy position, each bag's exposure carries how its
    position stands to the block's mean, which the season's rounds share.
    """
    factors = _position_factors(visits)
    return [
        [
            bag.units
            * bag.proportion_counted
            * mean_of(visit.recovery)
            * (factors.get(bag.position, 1.0) if visit.shares else 1.0)
            for bag in visit.bags
        ]
        for visit in visits
    ]


def _position_factors(visits: Sequence[Visit]) -> dict[str, float]:
    """Find each position's mean over the weighted mean, from all rounds together."""
    weighted = [visit for visit in visits if visit.shares]
    if not weighted:
        return {}
    washed_off: dict[str, list[float]] = defaultdict(list)
    shares: dict[str, float] = {}
    for visit in weighted:
        shares |= visit.shares or {}
        for bag in visit.bags:
            washed_off[bag.position].append(
                bag.animals / (bag.proportion_counted * bag.units)
            )
    means = {
        position: sum(found) / len(found) for position, found in washed_off.items()
    }
    total = sum(shares.values())
    middle = sum(means[position] * share / total for position, share in shares.items())
    if not middle:
        return {}
    return {
        position: max(mean / middle, LEAST_FACTOR) for position, mean in means.items()
    }
