"""What the page 'How sure is sure' shows: the measured coverage, family by family."""

from dataclasses import dataclass
from math import isfinite
from statistics import fmean, median

from monitoring.coverage.measure import Measured
from monitoring.coverage.stored import Line, Table, lines_of, stored_table

METHOD_WORDS = {
    "t": "textbook t",
    "negative_binomial": "negative binomial",
    "averaged": "averaged, as on this site",
    "history": "averaged, with the group's own history",
}
EXPLAINED = {
    "clumped leaves": "Leaves differ as a negative binomial does; k of 0.15 (very"
    " clumped) to 3, means of 5 to 1,000 animals, recovery known or only held.",
    "sparse": "As above, with a mean of 0.05 or 0.5 animals counted on a leaf: most"
    " rounds are nearly all zeros.",
    "clumped in the dish": "20 of 208 random cells are counted, and the animals lie"
    " clumped in the dish as well.",
    "part chosen after a look": "A tenth of the dish is counted where a wash holds more"
    " than 200 animals, and the whole dish otherwise.",
    "recovery unlike from leaf to leaf": "The share washed off varies from leaf to leaf"
    " (0.85, standard deviation 0.08), which the method does not know.",
    "lognormal leaves": "Leaves differ as a lognormal does, with heavier tails than a"
    " negative binomial's: sigma 0.8 and 1.3.",
    "leaves empty for another reason": "Four leaves in ten are empty whatever the"
    " density, the others clumped.",
}
BAR = 0.91


@dataclass(frozen=True, slots=True)
class MethodSummary:
    """One method over the regimes of a family."""

    words: str
    mean: float
    lowest: float
    lowest_at: str
    certainly_below: int
    relative_width: float | None
    widest: float | None


@dataclass(frozen=True, slots=True)
class FamilySummary:
    """One heading of the page, with the lines behind it."""

    name: str
    explained: str
    methods: list[MethodSummary]
    lines: list["LineShown"]


@dataclass(frozen=True, slots=True)
class LineShown:
    """One regime of a fold-out table."""

    line: Line

    @property
    def clumping(self) -> str:
        """How the leaves differ, in the method's own letters."""
        regime = self.line.regime
        letter = "sigma" if regime.shape == "lognormal" else "k"
        return f"{letter} {regime.clumping:g}"

    @property
    def cells(self) -> list[tuple[str, str, str]]:
        """Each method's coverage, its limits, and its width over the truth."""
        return [_cell(self.line.methods[name]) for name in METHOD_WORDS]


@dataclass(frozen=True, slots=True)
class CoveragePage:
    """The whole page."""

    table: Table
    families: list[FamilySummary]

    @property
    def method_words(self) -> list[str]:
        """The methods' names, in the columns' order."""
        return list(METHOD_WORDS.values())

    @property
    def sets_shown(self) -> str:
        """How many sets were made up in each regime."""
        return f"{self.table.sets:,}"


def coverage_page() -> CoveragePage:
    """Put the stored table together for the page."""
    table = stored_table()
    return CoveragePage(
        table, [_family(name, list(lines_of(table, name))) for name in EXPLAINED]
    )


def _family(name: str, lines: list[Line]) -> FamilySummary:
    return FamilySummary(
        name=name,
        explained=EXPLAINED[name],
        methods=[_summary(method, lines) for method in METHOD_WORDS],
        lines=[LineShown(line) for line in lines],
    )


def _summary(method: str, lines: list[Line]) -> MethodSummary:
    found = [line.methods[method] for line in lines]
    lowest = min(lines, key=lambda line: line.methods[method].coverage)
    widths = _relative_widths(method, lines)
    return MethodSummary(
        words=METHOD_WORDS[method],
        mean=100 * fmean(one.coverage for one in found),
        lowest=100 * lowest.methods[method].coverage,
        lowest_at=_where(lowest),
        certainly_below=sum(one.high < BAR for one in found),
        relative_width=median(widths) if widths else None,
        widest=max(widths, default=None),
    )


def _relative_widths(method: str, lines: list[Line]) -> list[float]:
    """Give the widths over the plain negative binomial's, where that has an end."""
    plain = [line.methods["negative_binomial"].width for line in lines]
    return [
        line.methods[method].width / width
        for line, width in zip(lines, plain, strict=True)
        if isfinite(width) and width > 0
    ]


def _where(line: Line) -> str:
    regime = line.regime
    return f"{regime.leaves} leaves, {LineShown(line).clumping}, mean {regime.mean:g}"


def _cell(measured: Measured) -> tuple[str, str, str]:
    width = f"{measured.width:.2f}" if isfinite(measured.width) else "no end"
    return (
        f"{100 * measured.coverage:.1f}",
        f"{100 * measured.low:.1f} to {100 * measured.high:.1f}",
        width,
    )
