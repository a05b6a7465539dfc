"""Plots of one number against another, as Plotly figures: points and lines."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10
from typing import Any

from monitoring.figures.tones import Tone

HEIGHT_PX = 380


@dataclass(frozen=True, slots=True)
class Axis:
    """An axis's title, and whether it is logarithmic; `ends` keeps it within limits."""

    title: str
    log: bool = False
    ends: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Points:
    """Marks, each with its words for the hover text."""

    name: str
    tone: Tone
    x: Sequence[float]
    y: Sequence[float]
    labels: Sequence[str]


@dataclass(frozen=True, slots=True)
class Curve:
    """A line, named at its end and in the legend; None breaks it."""

    name: str
    tone: Tone
    x: Sequence[float]
    y: Sequence[float | None]


def plot(
    x_axis: Axis,
    y_axis: Axis,
    *,
    points: Sequence[Points] = (),
    curves: Sequence[Curve] = (),
    marks: Sequence[tuple[float, str]] = (),
) -> dict[str, Any]:
    """Draw points and curves over two axes; marks are labelled upright lines."""
    layout: dict[str, Any] = {
        "height": HEIGHT_PX,
        "margin": {"l": 64, "r": 16, "t": 12, "b": 56},
        "hovermode": "closest",
        "showlegend": True,
        "legend": {
            "orientation": "h",
            "y": 1.02,
            "yanchor": "bottom",
            "x": 0,
            "itemclick": False,
            "itemdoubleclick": False,
        },
        "xaxis": _axis(x_axis),
        "yaxis": _axis(y_axis),
        "shapes": [_upright(at) for at, _ in marks],
        "annotations": [
            # The first stands left of its line, others right: lines may be close.
            _name_of(at, words, log=x_axis.log) | {"xanchor": "left" if i else "right"}
            for i, (at, words) in enumerate(marks)
        ],
    }
    data = [_points(one) for one in points] + [_curve(one) for one in curves]
    return {"data": data, "layout": layout}


def _axis(axis: Axis) -> dict[str, Any]:
    drawn: dict[str, Any] = {
        "title": {"text": axis.title},
        "type": "log" if axis.log else "linear",
        "automargin": True,
    }
    if axis.log:
        drawn |= {"tickformat": "~g", "dtick": 1}
    if axis.ends:
        drawn["range"] = list(axis.ends)
    return drawn


def _points(points: Points) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "markers",
        "name": points.name,
        "meta": {"tone": points.tone.colour},
        "x": list(points.x),
        "y": list(points.y),
        "marker": {"symbol": points.tone.symbol, "size": 8, "opacity": 0.75},
        "text": list(points.labels),
        "hovertemplate": "%{text}<extra></extra>",
    }


def _curve(curve: Curve) -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": curve.name,
        "meta": {"tone": curve.tone.colour},
        "x": list(curve.x),
        "y": list(curve.y),
        "line": {"dash": curve.tone.dash, "width": 2},
        "hovertemplate": "%{x:.3g}: %{y:.3g}<extra></extra>",
    }


def _upright(at: float) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "x",
        "x0": at,
        "x1": at,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"dash": "dot", "width": 1},
    }


def _name_of(at: float, words: str, *, log: bool) -> dict[str, Any]:
    return {
        "xref": "x",
        "x": log10(at) if log else at,
        "yref": "paper",
        "y": 1,
        "yanchor": "top",
        "textangle": 90,
        "text": words,
        "showarrow": False,
    }
