"""Mite-days and degree-days through one season, over a common time axis."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from monitoring.figures.season import Mark, Panel, Point, season_figure
from monitoring.figures.tones import Tone

HEAT_TONE = Tone("warn", "circle", "solid")
BEFORE, AFTER = timedelta(days=10), timedelta(days=6)


def through_season_figure(
    panels: Sequence[Panel],
    heat: Panel | None,
    *,
    span: tuple[date, date],
    marks: Sequence[Mark] = (),
) -> dict[str, Any]:
    """Draw the organisms' panels and, below, the degree-days; span is of the rounds."""
    all_panels = [*panels, heat] if heat else list(panels)
    shown = [one for one in marks if span[0] - BEFORE <= one.day <= span[1] + AFTER]
    figure = season_figure(all_panels, shown)
    layout = figure["layout"]
    # The year stands in the page's heading; a second line would meet the stages.
    layout["xaxis"]["tickformat"] = "%-d %b"
    last = max([span[1], *(point.day for point in heat.points)] if heat else [span[1]])
    layout["xaxis"]["range"] = [
        (span[0] - BEFORE).isoformat(),
        (last + AFTER).isoformat(),
    ]
    if heat:
        figure["data"][-1] |= {"mode": "lines", "error_y": {"visible": False}}
    return figure


def heat_panel(points: Sequence[tuple[date, float | None, bool]]) -> Panel:
    """Give the panel of degree-days: day, sum, whether it is “at least”."""
    return Panel(
        title="degree-days",
        unit="C-days",
        tone=HEAT_TONE,
        points=[
            Point(
                day=on,
                median=value,
                low=None,
                high=value,
                label=""
                if value is None
                else f"{on.day} {on:%B %Y}: {'at least ' if least else ''}{value:.0f}"
                " degree-days",
            )
            for on, value, least in points
        ],
    )
