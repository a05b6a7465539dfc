"""What a block's “Through the season” page shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from monitoring.figures.season import Mark, Panel, Point
from monitoring.figures.through_season import heat_panel, through_season_figure
from monitoring.figures.tones import tone_of
from monitoring.growth_stages import EL_CAUTION, words_of
from monitoring.models import Round
from monitoring.pages.mite_day_sums import MiteDaySum, Period, mite_day_sums
from monitoring.pages.weather_page import FarmHeat
from monitoring.queries.seasons import Season
from monitoring.words import day, sentence_case


@dataclass(frozen=True, slots=True)
class SumCell:
    """One organism's figure in a row of the table; empty where it was not counted."""

    words: str
    density_uuid: str


@dataclass(frozen=True, slots=True)
class StageRow:
    """One round in the table: its stage, the heat so far, and the sums so far."""

    round: Round
    stage_words: str
    heat_words: str
    cells: list[SumCell]


@dataclass(frozen=True, slots=True)
class TissueSums:
    """One tissue's sums, chart and table."""

    tissue: str
    sums: list[MiteDaySum]
    figure: dict[str, Any] | None
    summary: str
    rows: list[StageRow]
    # Where no organism has a sum: why, once for all of them.
    reason: str

    @property
    def figure_id(self) -> str:
        """The id of the figure's JSON on the page."""
        return f"through-{self.tissue}"


@dataclass(frozen=True, slots=True)
class SeasonPage:
    """Everything on the page."""

    period: Period
    sentence: str
    parts: list[TissueSums]
    notes: list[str]


def season_page(
    season: Season, period: Period, heat: FarmHeat, marks: Sequence[Mark] = ()
) -> SeasonPage:
    """Put together the page of one season of a block."""
    sums = mite_day_sums(season, period)
    parts = [
        _part([one for one in sums if one.tissue == tissue], period, heat, marks)
        for tissue in dict.fromkeys(one.tissue for one in sums)
    ]
    notes = []
    if any(one.growth_scale == "EL" for one in period.rounds):
        notes.append(EL_CAUTION)
    return SeasonPage(
        period=period,
        sentence=_sentence(sums, period, heat),
        parts=parts,
        notes=notes,
    )


def _sentence(sums: list[MiteDaySum], period: Period, heat: FarmHeat) -> str:
    told = [
        f"{sentence_case(one.organism.name)}: {one.total_words} {one.unit}, from"
        f" {day(one.rows[0].round.collected_on)} to"
        f" {day(one.rows[-1].round.collected_on)}."
        for one in sums
        if one.result is not None and one.organism.role != "other"
    ]
    if not told:
        told = [_nothing(period)]
    staged = [one for one in period.rounds if one.growth_stage]
    if staged:
        newest = staged[-1]
        told.append(
            f"At the round of {day(newest.collected_on)} the vines stood at"
            f" {newest.growth_stage}, {words_of(newest.growth_stage)}."
        )
    return " ".join([*told, heat.sentence])


def _nothing(period: Period) -> str:
    if len(period.rounds) == 1:
        return (
            f"Only one round, of {day(period.first_on)}: mite-days need two rounds or"
            " more of the same tissue."
        )
    return "No tissue has figures from two rounds of this season: no mite-days yet."


def _part(
    sums: list[MiteDaySum], period: Period, heat: FarmHeat, marks: Sequence[Mark]
) -> TissueSums:
    summed = [one for one in sums if one.result is not None]
    figure = None
    if summed:
        rounds = [row.round.collected_on for one in summed for row in one.rows]
        figure = through_season_figure(
            [_panel(one) for one in summed],
            heat_panel(_heat_points(heat)) if heat.heat else None,
            span=(min(rounds), max(rounds)),
            marks=marks,
        )
    return TissueSums(
        tissue=sums[0].tissue,
        sums=sums,
        figure=figure,
        summary=" ".join(
            f"{sentence_case(one.organism.name)}: {one.total_words} {one.unit}."
            for one in summed
        ),
        rows=_rows(sums, period, heat),
        reason="" if summed else _why_none(sums),
    )


def _why_none(sums: list[MiteDaySum]) -> str:
    rounds = {row.round.collected_on for one in sums for row in one.rows}
    if not rounds:
        return "No round has a figure: every bag that was looked at was uncountable."
    return (
        f"Only the round of {day(max(rounds))} has figures: mite-days need two rounds"
        " or more."
    )


def _panel(of: MiteDaySum) -> Panel:
    return Panel(
        title=of.organism.name,
        unit=of.unit.replace(" per", "<br>per"),
        tone=tone_of(of.organism.position),
        points=[_point(of, place) for place in range(len(of.rows))],
    )


def _point(of: MiteDaySum, place: int) -> Point:
    one, result = of.rows[place].round, of.result
    return Point(
        day=one.collected_on,
        median=float(result.cumulative[place]) if result else None,
        low=float(result.cumulative_low[place]) if result else None,
        high=of.high_at(place),
        label=f"{day(one.collected_on)}: {of.upto(place)} {of.unit}",
        growth_stage=one.growth_stage,
    )


def _heat_points(heat: FarmHeat) -> list[tuple[date, float | None, bool]]:
    """Give the sum day by day; none on missing days, over which it is not known."""
    if heat.heat is None:
        return []
    missing = heat.heat.sums.missing
    points: list[tuple[date, float | None, bool]] = []
    for place, on in enumerate(heat.heat.dates):
        found = None if missing[place] else heat.heat.on(on)
        points.append((on, *found) if found else (on, None, False))
    return points


def _rows(sums: list[MiteDaySum], period: Period, heat: FarmHeat) -> list[StageRow]:
    """Give the season's rounds that have a figure on the tissue, newest first."""
    rows = []
    for one in reversed(period.rounds):
        cells = [_cell(of, one) for of in sums]
        if not any(cell.density_uuid for cell in cells):
            continue
        rows.append(
            StageRow(
                one, words_of(one.growth_stage), _heat_on(heat, one.collected_on), cells
            )
        )
    return rows


def _cell(of: MiteDaySum, one: Round) -> SumCell:
    for place, row in enumerate(of.rows):
        if row.round_id == one.pk:
            return SumCell(of.upto(place) or "one round only", str(row.uuid))
    for row in of.left_out:
        if row.round_id == one.pk:
            return SumCell("no figure", str(row.uuid))
    return SumCell("", "")


def _heat_on(heat: FarmHeat, on: date) -> str:
    found = heat.heat.on(on) if heat.heat else None
    if found is None:
        return ""
    value, least = found
    return f"{'at least ' if least else ''}{value:,.0f}"
