"""What the page of the blank washes shows: each blank, and what is carried over."""

from collections.abc import Sequence
from dataclasses import dataclass

from monitoring.estimation import (
    CarryOver,
    ShareInterval,
    carry_over_per_wash,
    carry_over_share,
    estimate_density,
    positive_share,
)
from monitoring.models import BlankCount, BlankWash, Organism
from monitoring.words import figure

# Counts less even than this by chance alone make the Poisson limit too low.
UNEVEN = 0.01
# The carry-over share is told as what comes over from a wash of so many.
WASH_OF = 500


@dataclass(frozen=True, slots=True)
class BlankLine:
    """One count in a blank wash, and what the wash before it held."""

    blank: BlankWash
    count: BlankCount
    before: float | None

    @property
    def before_words(self) -> str:
        """The animals of the wash before; a whole count as it was counted."""
        if self.before is None:
            return f"{self.count.organism.name} not counted"
        whole = self.before == round(self.before)
        number = f"{self.before:,.0f}" if whole else figure(self.before)
        return f"{number} {self.count.organism.name}"


@dataclass(frozen=True, slots=True)
class Carried:
    """What the blanks tell of one organism."""

    organism: Organism
    positive: ShareInterval
    positives: int
    per_wash: CarryOver
    clumped_limit: float | None
    share: CarryOver | None

    @property
    def at_most(self) -> float:
        """The upper limit per wash that reckons with all that is seen."""
        return max(self.per_wash.upper_limit, self.clumped_limit or 0.0)

    @property
    def uneven(self) -> bool:
        """Whether the blanks differ more than chance alone would have it."""
        return self.clumped_limit is not None

    @property
    def from_a_full_wash(self) -> tuple[float, float] | None:
        """Animals carried over from a wash of 500, and the limit of that."""
        if self.share is None:
            return None
        return WASH_OF * self.share.rate, WASH_OF * self.share.upper_limit


def lines_of(blanks: Sequence[BlankWash]) -> list[BlankLine]:
    """Give one line for each organism counted in each blank."""
    return [
        BlankLine(blank, count, _before(blank, count.organism_id))
        for blank in blanks
        for count in blank.counts.all()
    ]


def carried_by_organism(lines: Sequence[BlankLine]) -> list[Carried]:
    """Estimate the carry-over of each organism from the blanks that stand."""
    standing = [line for line in lines if line.blank.withdrawn_at is None]
    organisms = {line.count.organism_id: line.count.organism for line in standing}
    return [
        _carried(
            organism,
            [line for line in standing if line.count.organism_id == organism.pk],
        )
        for organism in sorted(organisms.values(), key=lambda one: one.position)
    ]


def _carried(organism: Organism, lines: Sequence[BlankLine]) -> Carried:
    counts = [line.count.count for line in lines]
    shares = [line.count.proportion_counted for line in lines]
    positives = sum(count > 0 for count in counts)
    per_wash = carry_over_per_wash(counts, proportions_counted=shares)
    chance = per_wash.chance_as_uneven
    clumped = None
    if chance is not None and chance < UNEVEN:
        # As for bags: the animals of a blank came over together.
        clumped = estimate_density(counts, proportions_counted=shares).quantile(0.95)
    return Carried(
        organism=organism,
        positive=positive_share(positives, len(counts)),
        positives=positives,
        per_wash=per_wash,
        clumped_limit=clumped,
        share=_share(lines),
    )


def _share(lines: Sequence[BlankLine]) -> CarryOver | None:
    """Give the share of the wash before that comes over; None where none is known."""
    known = [(line, line.before) for line in lines if line.before is not None]
    if not sum(before for _, before in known):
        return None
    return carry_over_share(
        [line.count.count for line, _ in known],
        [before for _, before in known],
        proportions_counted=[line.count.proportion_counted for line, _ in known],
    )


def _before(blank: BlankWash, organism_id: int) -> float | None:
    """Give the animals of the wash before, over its dishes; None where not known."""
    if blank.after is None:
        return None
    tallies = [
        tally
        for tally in blank.after.tallies_before  # type: ignore[attr-defined]  # prefetched
        if tally.organism_id == organism_id
    ]
    if len(tallies) < blank.after.dishes or any(
        tally.count is None for tally in tallies
    ):
        return None
    share = sum(tally.share_of_animals for tally in tallies) / len(tallies)
    return float(sum(tally.count or 0 for tally in tallies) / share)
