"""The rounds of a season, the fan of what comes next, and when a threshold is met."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from monitoring.figures.season import Panel, season_figure
from monitoring.figures.tones import Tone

MARGIN = timedelta(days=3)
FAN_OPACITY = 0.35
CROSSING_TONE = "plum"


@dataclass(frozen=True, slots=True)
class Fan:
    """Densities by day: the middle, and an interval about it."""

    days: Sequence[date]
    low: Sequence[float]
    median: Sequence[float]
    high: Sequence[float]
    words: str


@dataclass(frozen=True, slots=True)
class CrossingBar:
    """Where the fan meets a threshold: middle date and interval."""

    low: date
    day: date
    high: date
    level: float
    words: str


def forecast_figure(
    panel: Panel, fan: Fan, crossing: CrossingBar | None
) -> dict[str, Any]:
    """Draw rounds with intervals, the fan behind them, and the crossing on its line."""
    figure = season_figure([panel])
    (rounds,) = figure["data"]
    # Lines between rounds would compete with the fan's middle.
    rounds["mode"] = "markers"
    rounds["name"] = f"{panel.title}, rounds"
    bars = [_bar(crossing)] if crossing else []
    figure["data"] = [*_fan(fan, panel.tone), rounds, *bars]
    layout = figure["layout"]
    layout["height"] = 420
    ends = [*fan.days, *([crossing.high] if crossing else [])]
    layout["xaxis"]["range"] = [
        (min(ends) - MARGIN).isoformat(),
        (max(ends) + MARGIN).isoformat(),
    ]
    top = max([*(point.high or 0.0 for point in panel.points), *fan.median])
    # On a log axis an empty round's lower end would press all else together.
    layout["yaxis"]["autorangeoptions"] = {"clipmin": min(fan.low) / 3}
    levels = [level for level, _ in panel.thresholds]
    layout["yaxis"]["range"] = [0, 1.1 * max([top, *(1.3 * one for one in levels)])]
    return figure


def _fan(fan: Fan, tone: Tone) -> list[dict[str, Any]]:
    days = [day.isoformat() for day in fan.days]
    low = _line(days, fan.low, tone.colour, "fan, lower end")
    high = _line(days, fan.high, tone.colour, "fan, upper end")
    for end in (low, high):
        end |= {"line": {"width": 0}, "hoverinfo": "skip"}
    high |= {"fill": "tonexty", "opacity": FAN_OPACITY}
    middle = _line(days, fan.median, tone.colour, fan.words)
    middle["line"] = {"width": 2, "dash": "solid"}
    # Kept out of sight, for the file that the page saves.
    middle["error_y"] |= {
        "array": [_apart(up, at) for up, at in zip(fan.high, fan.median, strict=True)],
        "arrayminus": [
            _apart(at, down) for at, down in zip(fan.median, fan.low, strict=True)
        ],
    }
    return [low, high, middle]


def _apart(upper: float, lower: float) -> float:
    return upper - lower


def _bar(crossing: CrossingBar) -> dict[str, Any]:
    ends = [crossing.low, crossing.day, crossing.high]
    bar = _line(
        [day.isoformat() for day in ends],
        [crossing.level] * len(ends),
        CROSSING_TONE,
        crossing.words,
    )
    bar |= {
        "mode": "lines+markers",
        "line": {"width": 5},
        "marker": {
            "symbol": ["line-ns-open", "diamond", "line-ns-open"],
            "size": [14, 12, 14],
        },
    }
    return bar


def _line(
    days: Sequence[str], values: Sequence[float], tone: str, name: str
) -> dict[str, Any]:
    nothing = [0.0] * len(days)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "meta": {"tone": tone},
        "x": list(days),
        "y": list(values),
        "error_y": {
            "type": "data",
            "symmetric": False,
            "array": nothing,
            "arrayminus": nothing,
            "visible": False,
        },
        "marker": {},
        "line": {},
        "text": [name] * len(days),
        "hovertemplate": "%{text}: %{x}, %{y:.3g}<extra></extra>",
        "yaxis": "y",
    }
