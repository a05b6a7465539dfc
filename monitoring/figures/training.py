"""How near a counter's dishes came to what is there, one after the other."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.figures.plots import Axis, Curve, Points, plot
from monitoring.figures.tones import Tone, tone_of

STANDARD_TONE = Tone("muted", "circle", "dash")


@dataclass(frozen=True, slots=True)
class Series:
    """The dishes of one organism and magnification: each one's turn and ratio."""

    name: str
    position: int
    turns: Sequence[int]
    ratios: Sequence[float]
    labels: Sequence[str]


def progress_figure(
    series: Sequence[Series], *, widest_ratio: float | None
) -> dict[str, Any]:
    """Draw counted over there, dish by dish, between the standard's lines if any."""
    last = max(max(one.turns) for one in series)
    curves = []
    if widest_ratio is not None:
        # One line that is broken, so that the legend names the standard once.
        ends = [0.5, last + 0.5]
        curves = [
            Curve(
                name="the lab's standard",
                tone=STANDARD_TONE,
                x=[*ends, ends[1], *ends],
                y=[*[widest_ratio] * 2, None, *[1 / widest_ratio] * 2],
            )
        ]
    figure = plot(
        Axis("dish, in the order counted"),
        Axis("counted over there, times", log=True),
        points=[
            Points(one.name, tone_of(one.position), one.turns, one.ratios, one.labels)
            for one in series
        ],
        curves=curves,
    )
    # Ratios lie within a decade, where ticks at decades would be one at most.
    del figure["layout"]["yaxis"]["dtick"]
    figure["layout"]["yaxis"]["nticks"] = 7
    figure["layout"]["xaxis"] |= {"nticks": 8, "tickformat": "d"}
    return figure
