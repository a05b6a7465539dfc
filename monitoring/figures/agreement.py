"""How second readings differ from first ones, and how counters drift."""

from collections.abc import Sequence
from datetime import date
from math import log10
from typing import Any, Protocol

from monitoring.estimation import EwmaChart
from monitoring.figures.season import Panel, Point, season_figure
from monitoring.figures.tones import tone_of
from monitoring.words import day

HEIGHT_PX = 380


class DrawnPair(Protocol):
    """What a point of the difference plot is made of."""

    @property
    def log_ratio(self) -> float:
        """log10 of second over first reading."""

    @property
    def ratio(self) -> float:
        """Second over first reading."""

    @property
    def words(self) -> str:
        """Text shown beside the point."""

    @property
    def unequal_scope(self) -> bool:
        """Whether one of them looked at cells only."""

    @property
    def middle(self) -> float:
        """Geometric mean of the readings, each with one more."""


def difference_figure(
    pairs: Sequence[DrawnPair], *, low: float, mean: float, high: float
) -> dict[str, Any]:
    """Draw each pair's ratio over its level, with the mean ratio and the limits."""
    alike = [pair for pair in pairs if not pair.unequal_scope]
    unlike = [pair for pair in pairs if pair.unequal_scope]
    data = [_points("looked at alike", 0, alike)]
    if unlike:
        data.append(_points("whole dish against cells", 1, unlike))
    lines = [(mean, f"mean {mean:.2f}")]
    if low < high:
        lines += [(high, f"upper limit {high:.2f}"), (low, f"lower limit {low:.2f}")]
    return {
        "data": data,
        "layout": {
            "height": HEIGHT_PX,
            "margin": {"l": 72, "r": 16, "t": 12, "b": 56},
            "showlegend": bool(unlike),
            "legend": {"orientation": "h", "y": 1.1},
            "hovermode": "closest",
            "xaxis": {
                "title": {"text": "animals in the dish, plus 1"},
                "type": "log",
                "tickformat": "~g",
                # Decades fit a phone; where there is no decade, all ticks do.
                **({"dtick": 1} if _decades(pairs) > 1 else {"nticks": 4}),
            },
            "yaxis": {
                "title": {"text": "second over first reading"},
                "type": "log",
                "tickformat": "~g",
                "nticks": 6,
                "automargin": True,
            },
            "shapes": [_line(level) for level, _ in lines],
            "annotations": [_label(level, label) for level, label in lines],
        },
    }


def _decades(pairs: Sequence[DrawnPair]) -> float:
    """Give how many powers of ten the readings lie apart."""
    middles = [pair.middle for pair in pairs]
    return log10(max(middles) / min(middles))


def _points(name: str, place: int, pairs: Sequence[DrawnPair]) -> dict[str, Any]:
    tone = tone_of(place)
    return {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "meta": {"tone": tone.colour},
        "x": [pair.middle for pair in pairs],
        "y": [pair.ratio for pair in pairs],
        "marker": {"symbol": tone.symbol, "size": 8, "opacity": 0.75},
        "line": {"dash": tone.dash},
        "text": [pair.words for pair in pairs],
        "hovertemplate": "%{text}<extra></extra>",
    }


def _line(level: float) -> dict[str, Any]:
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": "y",
        "y0": level,
        "y1": level,
        "line": {"dash": "dash", "width": 1.5},
    }


def _label(level: float, label: str) -> dict[str, Any]:
    return {
        "xref": "paper",
        "x": 1,
        "xanchor": "right",
        "yref": "y",
        # On a logarithmic axis a label stands at the logarithm, a line does not.
        "y": log10(level),
        "yanchor": "bottom",
        "text": label,
        "showarrow": False,
    }


def drift_figure(
    charts: Sequence[tuple[str, Sequence[date], EwmaChart]],
) -> dict[str, Any]:
    """Draw each counter's moving average over time with the limits it may keep to."""
    return season_figure([_panel(place, *one) for place, one in enumerate(charts)])


def _panel(place: int, name: str, days: Sequence[date], chart: EwmaChart) -> Panel:
    ratios = [float(10**average) for average in chart.averages]
    low, high = float(10**chart.low), float(10**chart.high)
    return Panel(
        title=name,
        unit="times the others",
        tone=tone_of(place),
        points=[
            Point(
                day=on,
                median=ratio,
                low=ratio,
                high=ratio,
                label=f"{name}, {day(on)}: moving average {ratio:.2f} times",
            )
            for on, ratio in zip(days, ratios, strict=True)
        ],
        thresholds=[
            (high, f"upper limit {high:.2f}"),
            (low, f"lower limit {low:.2f}"),
        ],
    )
