"""Calibration runs side by side, with what is pooled from them."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor
from typing import Any

from monitoring.estimation import PooledRecovery
from monitoring.figures.plots import Axis, Curve, Points, plot
from monitoring.figures.tones import Tone

MEAN = Tone("plum", "square", "solid")
NEW_RUN = Tone("focus", "cross", "dash")
# With more runs than this there is no room for each one's number.
MOST_TICKS = 15


@dataclass(frozen=True, slots=True)
class MarkedRun:
    """A run's own recovery and interval, with its words."""

    median: float
    low: float
    high: float
    label: str


def recovery_figure(
    runs: Sequence[MarkedRun], pooled: PooledRecovery, tone: Tone
) -> dict[str, Any]:
    """Draw each run's recovery with its interval, oldest first, and the pooled one."""
    numbers = [float(number + 1) for number in range(len(runs))]
    ends = [0.5, len(runs) + 0.5]
    low, high = pooled.new_run.interval()
    bars_x: list[float] = []
    bars_y: list[float | None] = []
    for number, run in zip(numbers, runs, strict=True):
        bars_x += [number, number, number]
        bars_y += [run.low, run.high, None]
    figure = plot(
        Axis("run, oldest first", ends=(ends[0], ends[1])),
        Axis("share that one wash brings off", ends=(_foot(runs, low), 1.0)),
        points=[
            Points(
                "run by itself",
                tone,
                numbers,
                [run.median for run in runs],
                [run.label for run in runs],
            )
        ],
        curves=[
            Curve("its interval", tone, bars_x, bars_y),
            Curve("mean of all runs", MEAN, ends, [pooled.mean] * 2),
            Curve(
                "a run to come: 95 in 100",
                NEW_RUN,
                [*ends, *reversed(ends), ends[0]],
                [low, low, high, high, low],
            ),
        ],
    )
    if len(runs) <= MOST_TICKS:
        figure["layout"]["xaxis"] |= {"tickmode": "linear", "tick0": 1, "dtick": 1}
    return figure


def _foot(runs: Sequence[MarkedRun], low: float) -> float:
    """Begin the axis at the tenth below everything drawn."""
    lowest = min([low, *(run.low for run in runs)])
    return max(floor(lowest * 10 - 0.2) / 10, 0.0)
