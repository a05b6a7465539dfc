"""Densities and the predator ratio over time, as one Plotly figure of panels."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import median
from typing import Any

from monitoring.figures.tones import Tone

PANEL_PX = 210
# Where the bags give no upper limit the bar ends at this many medians, and says so.
NO_LIMIT_BAR = 10.0
GAP = 0.07
# Bars are drawn up to so many times the highest median, or the usual upper end.
BEYOND_MEDIANS = 3.0
A_DAY = timedelta(days=1)
AROUND_ONE_ROUND = timedelta(days=14)
MARGIN_PX = 12
# Upright labels of treatments: room for their longest at the charts' size of type.
LABEL_ENDS_PX, LETTER_PX = 24, 7
# Treatments long before or after all rounds would only narrow the chart.
AROUND_MARKS = timedelta(days=45)
# Rounds further apart belong to two seasons: nothing is known of the time between.
BETWEEN_SEASONS = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class Point:
    """One round's figure; `high` is None where there is no upper limit.

    A point without a median breaks the line.
    """

    day: date
    median: float | None
    low: float | None
    high: float | None
    label: str
    growth_stage: str = ""


@dataclass(frozen=True, slots=True)
class Panel:
    """One organism, or a ratio, over time."""

    title: str
    unit: str
    tone: Tone
    points: Sequence[Point]
    thresholds: Sequence[tuple[float, str]] = field(default_factory=tuple)


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that was done to the block on a day, across all panels."""

    day: date
    label: str


def season_figure(
    panels: Sequence[Panel], marks: Sequence[Mark] = ()
) -> dict[str, Any]:
    """Draw the panels one above the other over a common time axis."""
    data, layout = [], _layout(panels)
    height = (1 - GAP * (len(panels) - 1)) / max(len(panels), 1)
    for index, panel in enumerate(panels):
        suffix = "" if index == 0 else str(index + 1)
        top = 1 - index * (height + GAP)
        layout[f"yaxis{suffix}"] = {
            "title": {"text": f"{panel.title}<br>{panel.unit}"},
            "domain": [max(top - height, 0), top],
            "range": [0, _top_of(panel)],
            "anchor": "x",
            "hoverformat": ".2g",
        }
        data.append(_trace(panel, f"y{suffix}"))
        if not panel.points:
            layout["annotations"].append(_empty_label(f"y{suffix}"))
        for level, label in panel.thresholds:
            layout["shapes"].append(_line(level, f"y{suffix}"))
            layout["annotations"].append(_line_label(level, label, f"y{suffix}"))
    layout["annotations"] += _stages(panels)
    _add_marks(layout, panels, marks)
    return {"data": data, "layout": layout}


def _top_of(panel: Panel) -> float:
    """End a panel where its points are plain to see.

    One round of few bags can have an interval a thousand times the others'; its bar
    goes on beyond the panel, and its figures stand in the hover text and the table.
    """
    medians = [point.median for point in panel.points if point.median is not None]
    highest = max(medians, default=0.0)
    ends = [point.high for point in panel.points if point.high is not None]
    # Where nothing was found the ends are the figures: the usual one stays in sight.
    usual_end = median(ends) if ends else 0.0
    reach = min(max([*ends, highest]), BEYOND_MEDIANS * max(highest, usual_end))
    levels = [level for level, _ in panel.thresholds]
    return 1.08 * max([reach, *levels]) or 1.0


def _layout(panels: Sequence[Panel]) -> dict[str, Any]:
    time_axis: dict[str, Any] = {
        "type": "date",
        "anchor": f"y{len(panels) if len(panels) > 1 else ''}",
    }
    days = {point.day for panel in panels for point in panel.points}
    if len(days) == 1:
        (day,) = days
        # A lone round would be given an axis of milliseconds.
        time_axis["range"] = [
            (day - AROUND_ONE_ROUND).isoformat(),
            (day + AROUND_ONE_ROUND).isoformat(),
        ]
    return {
        "height": max(len(panels), 1) * PANEL_PX + 80,
        "margin": {"l": 72, "r": 16, "t": MARGIN_PX, "b": 56},
        "showlegend": False,
        "hovermode": "closest",
        "xaxis": time_axis,
        "shapes": [],
        "annotations": [],
    }


def _with_winters(points: Sequence[Point]) -> list[Point]:
    """Put a point without a value between seasons, where the line must break."""
    told: list[Point] = []
    for point in points:
        if told and point.day - told[-1].day > BETWEEN_SEASONS:
            told.append(Point(told[-1].day + A_DAY, None, None, None, label=""))
        told.append(point)
    return told


def _end(point: Point) -> float | None:
    if point.high is not None or point.median is None:
        return point.high
    return point.median * NO_LIMIT_BAR


def _apart(upper: float | None, lower: float | None) -> float | None:
    return None if upper is None or lower is None else upper - lower


def _trace(panel: Panel, axis: str) -> dict[str, Any]:
    points = _with_winters(panel.points)
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "name": panel.title,
        "meta": {"tone": panel.tone.colour},
        "x": [point.day.isoformat() for point in points],
        "y": [point.median for point in points],
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": [_apart(_end(point), point.median) for point in points],
            "arrayminus": [_apart(point.median, point.low) for point in points],
            "thickness": 1.5,
            "width": 4,
        },
        "marker": {"symbol": panel.tone.symbol, "size": 8},
        "line": {"dash": panel.tone.dash, "width": 1.5},
        "text": [point.label for point in points],
        "hovertemplate": "%{text}<extra></extra>",
        "yaxis": axis,
    }


def _line(level: float, axis: str) -> dict[str, Any]:
    return {
        "type": "line",
        "name": "threshold",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": axis,
        "y0": level,
        "y1": level,
        "line": {"dash": "dash", "width": 1.5},
    }


def _empty_label(axis: str) -> dict[str, Any]:
    return {
        "name": "empty",
        "xref": "paper",
        "x": 0.5,
        "yref": f"{axis} domain",
        "y": 0.5,
        "text": "no figure yet",
        "showarrow": False,
    }


def _line_label(level: float, label: str, axis: str) -> dict[str, Any]:
    return {
        "name": "threshold",
        "xref": "paper",
        "x": 0,
        "xanchor": "left",
        "yref": axis,
        "y": level,
        "yanchor": "bottom",
        "text": label,
        "showarrow": False,
    }


def _add_marks(
    layout: dict[str, Any], panels: Sequence[Panel], marks: Sequence[Mark]
) -> None:
    """Draw a labelled tick above the panels, and a thin line through them.

    Labels stand upright: there is room for many of them even on a phone.
    """
    days = [point.day for panel in panels for point in panel.points]
    if not days:
        return
    by_day: dict[date, list[str]] = {}
    for mark in marks:
        if min(days) - AROUND_MARKS <= mark.day <= max(days) + AROUND_MARKS:
            by_day.setdefault(mark.day, []).append(mark.label)
    if not by_day:
        return
    notes = [_mark_label(day, labels) for day, labels in sorted(by_day.items())]
    longest = max(len(note["text"]) for note in notes)
    layout["margin"]["t"] = LABEL_ENDS_PX + LETTER_PX * longest
    layout["height"] += layout["margin"]["t"] - MARGIN_PX
    layout["shapes"] += [_mark_line(day) for day in sorted(by_day)]
    layout["annotations"] += notes


def _mark_line(day: date) -> dict[str, Any]:
    return {
        "type": "line",
        "name": "treatment",
        "xref": "x",
        "x0": day.isoformat(),
        "x1": day.isoformat(),
        "yref": "paper",
        "y0": 0,
        "y1": 1.02,
        "line": {"dash": "dot", "width": 1},
    }


def _mark_label(day: date, labels: Sequence[str]) -> dict[str, Any]:
    return {
        "name": "treatment",
        "xref": "x",
        "x": day.isoformat(),
        "yref": "paper",
        "y": 1.02,
        "yanchor": "bottom",
        "textangle": -90,
        "text": ", ".join(sorted(set(labels))),
        "showarrow": False,
    }


def _stages(panels: Sequence[Panel]) -> list[dict[str, Any]]:
    """Write growth stages along the foot where they change."""
    stages: dict[date, str] = {}
    for panel in panels:
        for point in panel.points:
            if point.growth_stage:
                stages.setdefault(point.day, point.growth_stage)
    notes, last = [], ""
    for day in sorted(stages):
        if stages[day] == last:
            continue
        last = stages[day]
        notes.append(
            {
                "xref": "x",
                "x": day.isoformat(),
                "yref": "paper",
                "y": 0,
                "yshift": -30,
                "yanchor": "top",
                "text": last.removeprefix("BBCH "),
                "showarrow": False,
                "name": "stage",
            }
        )
    return notes
