"""What a block's page shows: panels, table rows, and its bags on a map."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.figures.season import Mark, Panel, Point, season_figure
from monitoring.figures.tones import Tone, tone_of
from monitoring.models import Density, Organism, Ratio, Round, TreatedBlock
from monitoring.pages.sentences import density_words, sentence_of
from monitoring.queries.seasons import Season
from monitoring.thresholds import ThresholdInForce
from monitoring.words import day, figure, interval, prey_per_predator, stated

RATIO_TONE = Tone("teal", "diamond-open", "longdash")


@dataclass(frozen=True, slots=True)
class TissuePart:
    """The part of a block's page that is about one tissue."""

    tissue: str
    sentence: str
    newest_on: str
    figure: dict[str, Any]
    summary: str
    organisms: list[Organism]
    rows: list["RoundRow"]
    has_ratio: bool

    @property
    def figure_id(self) -> str:
        """The id of the figure's JSON on the page."""
        return f"figure-{self.tissue}"


@dataclass(frozen=True, slots=True)
class RoundRow:
    """One round in the table: a density for each organism, and the ratios."""

    round: Round
    densities: list[Density | None]
    ratios: list[Ratio]


def tissue_part(
    season: Season,
    tissue: str,
    thresholds: Sequence[ThresholdInForce],
    treatments: Sequence[TreatedBlock] = (),
) -> TissuePart:
    """Put together one tissue's sentence, chart and table."""
    part = season.of_tissue(tissue)
    counted = {row.organism_id for row in part.densities}
    organisms = [one for one in season.organisms if one.pk in counted]
    rows = _rows(part, organisms)
    newest = rows[0]
    return TissuePart(
        tissue=tissue,
        sentence=sentence_of(
            [row for row in newest.densities if row],
            newest.ratios,
            thresholds,
            before=[row for row in rows[1].densities if row] if rows[1:] else [],
        ),
        newest_on=day(newest.round.collected_on),
        figure=season_figure(
            _panels(part, organisms, thresholds), treatment_marks(treatments)
        ),
        summary=_summary(part, organisms) + _treatments_told(treatments),
        organisms=organisms,
        rows=rows,
        has_ratio=any(row.ratios for row in rows),
    )


def treatment_marks(treatments: Iterable[TreatedBlock]) -> list[Mark]:
    """Give a block's treatments as marks of a chart; check parts are none."""
    return [
        Mark(row.treatment.treated_on, row.treatment.get_category_display())
        for row in treatments
        if row.part == TreatedBlock.Part.TREATED
    ]


def _treatments_told(treatments: Iterable[TreatedBlock]) -> str:
    told = [f"{mark.label} on {day(mark.day)}" for mark in treatment_marks(treatments)]
    return f" Treatments: {'; '.join(told)}." if told else ""


def _rows(part: Season, organisms: Sequence[Organism]) -> list[RoundRow]:
    by_round: dict[int, dict[int, Density]] = defaultdict(dict)
    ratios: dict[int, list[Ratio]] = defaultdict(list)
    for density in part.densities:
        by_round[density.round_id][density.organism_id] = density
    for ratio in part.ratios:
        ratios[ratio.round_id].append(ratio)
    return [
        RoundRow(
            one,
            [by_round[one.pk].get(organism.pk) for organism in organisms],
            ratios[one.pk],
        )
        for one in part.rounds
        if one.pk in by_round
    ]


def _panels(
    part: Season,
    organisms: Iterable[Organism],
    thresholds: Sequence[ThresholdInForce],
) -> list[Panel]:
    panels = []
    for organism in organisms:
        mine = [row for row in part.densities if row.organism_id == organism.pk]
        panels.append(
            Panel(
                title=organism.name,
                unit=f"per {mine[0].tissue}",
                tone=tone_of(organism.position),
                points=[_point(row) for row in mine if row.median is not None],
                thresholds=[
                    (one.level, f"threshold {stated(one.level)}")
                    for one in thresholds
                    if one.prey_id is None
                    and one.organism_id == organism.pk
                    and one.tissue == mine[0].tissue
                ],
            )
        )
    return panels + _ratio_panels(part, thresholds)


def _point(row: Density) -> Point:
    return Point(
        day=row.round.collected_on,
        median=row.median or 0.0,
        low=row.low or 0.0,
        high=row.high,
        label=f"{day(row.round.collected_on)}: {density_words(row)},"
        f" {row.bags_used} bags",
        growth_stage=row.round.growth_stage,
    )


def _ratio_panels(part: Season, thresholds: Sequence[ThresholdInForce]) -> list[Panel]:
    pairs: dict[tuple[int, int], list[Ratio]] = defaultdict(list)
    for ratio in part.ratios:
        if ratio.median is not None:
            pairs[ratio.predator_id, ratio.prey_id].append(ratio)
    panels = []
    for (predator_id, prey_id), rows in pairs.items():
        lines = [
            (one.level, f"threshold 1 to {stated(1 / one.level)}")
            for one in thresholds
            if one.prey_id == prey_id
            and one.organism_id == predator_id
            and one.tissue == rows[0].tissue
        ]
        panels.append(
            Panel(
                title=f"{rows[0].predator.name}",
                unit=f"per {rows[0].prey.name.removesuffix('s')}",
                tone=RATIO_TONE,
                points=[_ratio_point(row) for row in rows],
                thresholds=lines,
            )
        )
    return panels


def _ratio_point(row: Ratio) -> Point:
    return Point(
        day=row.round.collected_on,
        median=row.median or 0.0,
        low=row.low or 0.0,
        high=row.high,
        label=f"{day(row.round.collected_on)}: one to"
        f" {prey_per_predator(row.median)}"
        f" ({prey_per_predator(row.high)} to {prey_per_predator(row.low)})",
    )


def _summary(part: Season, organisms: Iterable[Organism]) -> str:
    """Say in words what the chart shows, for those who do not see it."""
    told = []
    for organism in organisms:
        rows = [
            row
            for row in part.densities
            if row.organism_id == organism.pk and row.median is not None
        ]
        if not rows:
            continue
        highest = max(rows, key=lambda row: row.median or 0.0)
        told.append(
            f"{organism.name.capitalize()}: {len(rows)} rounds; highest"
            f" {figure(highest.median)} per {highest.tissue}"
            f" ({interval(highest.low, highest.high)}) on"
            f" {day(highest.round.collected_on)}, newest {figure(rows[-1].median)}"
            f" ({interval(rows[-1].low, rows[-1].high)}) on"
            f" {day(rows[-1].round.collected_on)}."
        )
    return " ".join(told)
