"""Daily minima and maxima with their quality, and the degree-days they add up to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

TEMPERATURE_DOMAIN, HEAT_DOMAIN = [0.42, 1.0], [0.0, 0.34]
HEIGHT_PX = 520
MARKS = {"estimated": "circle-open", "doubtful": "x-thin-open", "filled": "square-open"}
NO_ERROR = {"visible": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class DayShown:
    """One day of the chart; temperatures None where the day is missing.

    quality: measured, estimated, doubtful, filled or missing.
    """

    on: date
    minimum_c: float | None
    maximum_c: float | None
    quality: str
    degree_days: float | None


def weather_figure(days: Sequence[DayShown]) -> dict[str, Any]:
    """Draw both temperatures, marks where they are not measured, and the sum."""
    highest = [(one.on, one.maximum_c) for one in days]
    lowest = [(one.on, one.minimum_c) for one in days]
    sums = [
        (one.on, None if one.quality == "missing" else one.degree_days) for one in days
    ]
    data = [
        _line("highest", highest, tone="rust", axis="y"),
        _line("lowest", lowest, tone="indigo", axis="y"),
        *_marks(days),
        _line("degree-days", sums, tone="warn", axis="y2"),
    ]
    data[1]["line"]["dash"] = "dot"
    return {"data": data, "layout": _layout(days)}


def _line(
    name: str,
    points: Sequence[tuple[date, float | None]],
    *,
    tone: str,
    axis: str,
) -> dict[str, Any]:
    unit = "°C" if axis == "y" else "C-days"
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "meta": {"tone": tone},
        "x": [on.isoformat() for on, _ in points],
        "y": [None if value is None else round(value, 2) for _, value in points],
        "line": {"width": 1.5},
        "marker": {"size": 6},
        "error_y": dict(NO_ERROR),
        "hovertemplate": f"%{{x|%-d %B %Y}}: {name} %{{y:.1f}} {unit}<extra></extra>",
        "yaxis": axis,
    }


def _marks(days: Sequence[DayShown]) -> list[dict[str, Any]]:
    traces = []
    for quality, symbol in MARKS.items():
        mine = [one for one in days if one.quality == quality]
        if not mine:
            continue
        points = [(one.on, one.maximum_c) for one in mine]
        trace = _line(quality, points, tone="plum", axis="y")
        traces.append(
            trace | {"mode": "markers", "marker": {"symbol": symbol, "size": 9}}
        )
    return traces


def _layout(days: Sequence[DayShown]) -> dict[str, Any]:
    lows = [one.minimum_c for one in days if one.minimum_c is not None]
    highs = [one.maximum_c for one in days if one.maximum_c is not None]
    bottom = min(lows, default=0.0) - 4
    return {
        "height": HEIGHT_PX,
        "margin": {"l": 72, "r": 16, "t": 12, "b": 40},
        "showlegend": False,
        "hovermode": "closest",
        "xaxis": {"type": "date", "anchor": "y2"},
        "yaxis": {
            "title": {"text": "air temperature<br>°C"},
            "domain": TEMPERATURE_DOMAIN,
            "range": [bottom, max(highs, default=30.0) + 2],
        },
        "yaxis2": {
            "title": {"text": "degree-days<br>C-days"},
            "domain": HEAT_DOMAIN,
            "rangemode": "tozero",
        },
        "shapes": [
            _missing(one, bottom + 1) for one in days if one.quality == "missing"
        ],
        "annotations": [],
    }


def _missing(day: DayShown, at: float) -> dict[str, Any]:
    """Draw a bar at the foot where a day is missing."""
    return {
        "type": "line",
        "name": "missing",
        "x0": f"{day.on.isoformat()}T00:00",
        "x1": f"{day.on.isoformat()}T23:59",
        "y0": at,
        "y1": at,
        "line": {"width": 6},
    }
