"""How one counter agrees with the truth, or with the senior analyst."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log10

from blocks.models import User
from monitoring.estimation import (
    AgreementLimits,
    Concordance,
    EstimationError,
    concordance,
    limits_of_agreement,
    poisson_limits,
)
from monitoring.models import AgreementStandard, Organism, ReferenceReading, Tally
from monitoring.pages.agreement import FEWEST_PAIRS
from monitoring.pages.agreement_standard import (
    MET,
    NOT_MET,
    NOT_SETTLED,
    Judged,
    RatioLimits,
    verdict_of,
)
from monitoring.pages.readings import Reading
from monitoring.training.judging import (
    FEW_ANIMALS,
    dishes_for_concordance,
    dishes_for_limits,
)
from monitoring.words import figure


@dataclass(frozen=True, slots=True)
class Compared:
    """One organism in one dish: what was counted, and what is held against it.

    whole: whether both are numbers of animals, and not expanded from some cells.
    """

    organism: Organism
    magnification: float | None
    counted: float
    there: float
    whole: bool = True

    @property
    def ratio(self) -> float:
        """What was counted over what is there, each with one animal more."""
        return (self.counted + 1) / (self.there + 1)

    @property
    def is_few(self) -> bool:
        """Whether there are so few that Poisson limits judge, and no percentage."""
        return self.whole and self.there < FEW_ANIMALS

    @property
    def limits(self) -> tuple[float, float]:
        """The Poisson limits of what was counted."""
        return poisson_limits(round(self.counted))

    @property
    def is_within(self) -> bool:
        """Whether what is there lies within the Poisson limits of the count."""
        low, high = self.limits
        return low <= self.there <= high

    @property
    def words(self) -> str:
        """The difference in words: percent, or Poisson limits where there are few."""
        if self.counted == self.there:
            return "the same"
        if self.is_few:
            low, high = self.limits
            where = "within" if self.is_within else "outside"
            limits = f"{figure(low)} to {figure(high)}"
            return f"{where} the Poisson limits of the count, {limits}"
        percent = 100 * (self.counted - self.there) / self.there
        return f"{abs(percent):.0f} % too {'many' if percent > 0 else 'few'}"


@dataclass(frozen=True, slots=True)
class Few:
    """Dishes with few animals, taken together."""

    dishes: int
    outside: int
    counted: int
    there: int
    low: float
    high: float

    @property
    def is_within(self) -> bool:
        """Whether all there is lies within the limits of all that was counted."""
        return self.low <= self.there <= self.high


@dataclass(frozen=True)
class Standing:
    """One organism at one magnification, over all dishes."""

    organism: Organism
    magnification: float | None
    compared: list[Compared]
    standard: AgreementStandard | None

    @property
    def dishes(self) -> int:
        """How many dishes."""
        return len(self.compared)

    @cached_property
    def full(self) -> list[Compared]:
        """Dishes with so many animals that ratios judge."""
        return [one for one in self.compared if not one.is_few]

    @cached_property
    def concordance(self) -> Concordance | None:
        """Lin's coefficient over all dishes; None for too few or none that vary."""
        if self.dishes < FEWEST_PAIRS:
            return None
        try:
            return concordance(*_logs(self.compared))
        except EstimationError:
            return None

    @cached_property
    def agreement_limits(self) -> AgreementLimits | None:
        """Limits of agreement of log10, from dishes that are not of few animals."""
        if len(self.full) < FEWEST_PAIRS:
            return None
        return limits_of_agreement(*_logs(self.full))

    @cached_property
    def limits(self) -> RatioLimits | None:
        """The same limits as ratios."""
        found = self.agreement_limits
        return RatioLimits.of(found) if found else None

    @cached_property
    def few(self) -> Few | None:
        """The dishes of few animals taken together; None where there are none."""
        rows = [one for one in self.compared if one.is_few]
        if not rows:
            return None
        counted = round(sum(one.counted for one in rows))
        low, high = poisson_limits(counted)
        return Few(
            dishes=len(rows),
            outside=sum(not one.is_within for one in rows),
            counted=counted,
            there=round(sum(one.there for one in rows)),
            low=low,
            high=high,
        )

    @property
    def by_ratio(self) -> bool:
        """Whether ratios must be told for the standard: most dishes are not of few."""
        return 2 * len(self.full) >= self.dishes

    @cached_property
    def judged(self) -> list[Judged]:
        """Each figure against the standard; empty before there are enough dishes."""
        if self.standard is None or self.dishes < FEWEST_PAIRS:
            return []
        judged = []
        if self.concordance is not None:
            least = self.standard.least_concordance
            verdict = verdict_of(
                met=self.concordance.low >= least,
                missed=self.concordance.high < least,
            )
            judged.append(Judged(f"concordance at least {least:g}", verdict))
        if self.limits is not None:
            widest = self.standard.widest_ratio
            inner, outer = self.limits.widest_range
            judged.append(
                Judged(
                    f"95 in 100 counts within {widest:g} times what is there",
                    verdict_of(met=outer <= widest, missed=inner > widest),
                )
            )
        if self.few is not None:
            verdict = NOT_SETTLED if self.few.outside else MET
            judged.append(
                Judged(
                    f"where fewer than {FEW_ANIMALS} are there, within Poisson limits",
                    verdict if self.few.is_within else NOT_MET,
                )
            )
        return judged

    @property
    def verdict(self) -> str:
        """Whether the standard is met, not met or not settled; empty without one."""
        if self.standard is None:
            return ""
        verdicts = {one.verdict for one in self.judged}
        if NOT_MET in verdicts:
            return NOT_MET
        lacking = self.concordance is None or (self.by_ratio and self.limits is None)
        return MET if verdicts == {MET} and not lacking else NOT_SETTLED

    @cached_property
    def more_dishes(self) -> int | None:
        """How many more dishes would tell, if they were counted like those so far.

        None where no number would: then the counts must come nearer.
        """
        fewest = FEWEST_PAIRS - self.dishes
        if self.by_ratio:
            fewest = max(fewest, FEWEST_PAIRS - len(self.full))
        if fewest > 0 or self.standard is None:
            return max(fewest, 0)
        wanted = [self.dishes]
        if self.concordance is not None:
            least = self.standard.least_concordance
            needed = dishes_for_concordance(self.concordance, least_concordance=least)
            if needed is None:
                return None
            wanted.append(needed)
        if self.agreement_limits is not None:
            needed = dishes_for_limits(
                self.agreement_limits, widest_ratio=self.standard.widest_ratio
            )
            if needed is None:
                return None
            # Dishes of few animals do not help the ratios.
            wanted.append(self.dishes + max(needed - len(self.full), 0))
        return max(wanted) - self.dishes


def _logs(rows: Iterable[Compared]) -> tuple[list[float], list[float]]:
    """Give log10 of what was counted and of what is there, with one animal more."""
    pairs = [(log10(one.counted + 1), log10(one.there + 1)) for one in rows]
    return [counted for counted, _ in pairs], [there for _, there in pairs]


def standings_of(
    compared: Iterable[Compared], standard: AgreementStandard | None
) -> list[Standing]:
    """Sum up by organism and magnification, in the organisms' order."""
    by_kind: dict[tuple[int, float], list[Compared]] = defaultdict(list)
    for one in compared:
        key = one.organism.position, one.magnification or 0.0
        by_kind[key].append(one)
    return [
        Standing(rows[0].organism, rows[0].magnification, rows, standard)
        for _, rows in sorted(by_kind.items())
    ]


def of_reading(reading: ReferenceReading) -> list[Compared]:
    """Set a reading of a reference dish against what is in it."""
    counts = {one.organism_id: one.count for one in reading.counts.all()}
    return [
        Compared(
            organism=one.organism,
            magnification=reading.magnification,
            counted=counts[one.organism_id],
            there=one.number_to_find,
        )
        for one in reading.reference.contents.all()
        if one.organism_id in counts
    ]


def of_readings(readings: Iterable[ReferenceReading]) -> list[Compared]:
    """Set readings against the truth; dishes that were withdrawn are left out."""
    return [
        one
        for reading in readings
        if reading.reference.stands
        for one in of_reading(reading)
    ]


@dataclass(frozen=True, slots=True)
class Recounts:
    """Real dishes that two people counted.

    in_sight: pairs left out, as the later counter was shown the first figure.
    """

    compared: list[Compared]
    in_sight: int


def of_recounts(
    dishes: Iterable[Sequence[Tally]], *, person: User, senior: User | None
) -> Recounts:
    """Set a person's readings of real dishes against the senior's, a pair a dish.

    Without a senior, or for the senior, the first other reader who is named counts.
    """
    pairs = []
    against = None if senior is None or senior.pk == person.pk else senior.pk
    for tallies in dishes:
        readings = [Reading(one) for one in tallies]
        own = [one for one in readings if one.tally.analyst_id == person.pk]
        others = [
            one
            for one in readings
            if one.counter
            and one.tally.analyst_id != person.pk
            and against in {None, one.tally.analyst_id}
        ]
        # A correction published meanwhile may have taken the person's own away.
        if own and others:
            pairs.append((own[0], others[0]))
    blind = [pair for pair in pairs if not _in_sight(pair)]
    return Recounts([_compared(pair) for pair in blind], len(pairs) - len(blind))


def _in_sight(pair: tuple[Reading, Reading]) -> bool:
    """Tell whether the later counter knew the first figure; sheets do not say."""
    later = max(pair, key=lambda one: one.tally.reading).tally
    return later.source_reading_id is not None and not later.blind


def _compared(pair: tuple[Reading, Reading]) -> Compared:
    own, other = pair
    return Compared(
        organism=own.tally.organism,
        magnification=own.tally.magnification,
        counted=own.animals,
        there=other.animals,
        whole=own.whole and other.whole,
    )
