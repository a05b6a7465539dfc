"""How unlike bags are, drawn: variance and mean crowding against the mean."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, isfinite, log
from typing import Any

from monitoring.estimation import Patchiness, PowerLaw
from monitoring.figures.plots import Axis, Curve, Points, plot
from monitoring.figures.tones import Tone

CURVE_POINTS = 40
LAW = Tone("plum", "square", "solid")
COMMON_K = Tone("focus", "cross", "dash")
BY_CHANCE = Tone("ink", "cross", "dot")


@dataclass(frozen=True, slots=True)
class Sample:
    """One round's mean and variance per bag, with its words."""

    mean: float
    variance: float
    label: str


def variance_figure(
    samples: Sequence[Sample],
    tone: Tone,
    *,
    unit: str,
    power_law: PowerLaw | None,
    common_k: float,
) -> dict[str, Any]:
    """Draw variances over means, both logarithmic, with the laws through them."""
    shown = [one for one in samples if one.mean > 0 and one.variance > 0]
    at = _from_to([one.mean for one in shown])
    curves = []
    if power_law:
        curves.append(
            Curve("power law", LAW, at, [power_law.variance(mean) for mean in at])
        )
    if isfinite(common_k):
        clumped = [mean + mean**2 / common_k for mean in at]
        curves.append(Curve("common k", COMMON_K, at, clumped))
    curves.append(Curve("no clumping", BY_CHANCE, at, at))
    return plot(
        Axis(f"mean per {unit}", log=True),
        Axis("variance", log=True),
        points=[_rounds(shown, tone, [one.variance for one in shown])],
        curves=curves,
    )


def crowding_figure(
    samples: Sequence[Sample], tone: Tone, *, unit: str, line: Patchiness | None
) -> dict[str, Any]:
    """Draw mean crowding over the mean, with the regression line."""
    shown = [one for one in samples if one.mean > 0]
    crowding = [one.mean + one.variance / one.mean - 1 for one in shown]
    at = [0.0, max((one.mean for one in shown), default=1.0)]
    curves = [Curve("as many as the mean: no clumping", BY_CHANCE, at, at)]
    if line:
        ends = [line.alpha + line.beta * mean for mean in at]
        curves.insert(0, Curve("regression line", LAW, at, ends))
    return plot(
        Axis(f"mean per {unit}"),
        Axis("mean crowding"),
        points=[_rounds(shown, tone, crowding)],
        curves=curves,
    )


def _rounds(shown: Sequence[Sample], tone: Tone, heights: list[float]) -> Points:
    return Points(
        name="rounds",
        tone=tone,
        x=[one.mean for one in shown],
        y=heights,
        labels=[one.label for one in shown],
    )


def _from_to(means: Sequence[float]) -> list[float]:
    if not means:
        return [1.0, 10.0]
    low, high = log(min(means)), log(max(means))
    step = (high - low) / (CURVE_POINTS - 1)
    return [exp(low + step * number) for number in range(CURVE_POINTS)]
