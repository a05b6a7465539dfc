"""The share of leaves in each level of the scale, along density."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitoring.figures.plots import Axis, Curve, Points, plot
from monitoring.figures.tones import TONES
from monitoring.words import leaves

# Leaves are told in these classes of animals per leaf; none, then thirds of decades.
EDGES = (0.0, 3.0, 10.0, 30.0, 100.0, 300.0, 1000.0, 3000.0)


@dataclass(frozen=True, slots=True)
class DensityClass:
    """Leaves with about so many animals: where they lie, and how many at each level."""

    label: str
    middle: float
    leaves: int
    at_level: tuple[int, ...]

    @property
    def shares(self) -> list[str]:
        """The share of the leaves at each level, in 100."""
        return [f"{100 * number / self.leaves:.0f}" for number in self.at_level]


def density_classes(
    densities: Sequence[float], scores: Sequence[int], levels: Sequence[int]
) -> list[DensityClass]:
    """Sort leaves into classes of density; classes without leaves are left out."""
    per_leaf, score = np.asarray(densities, dtype=float), np.asarray(scores)
    place = np.searchsorted(EDGES, per_leaf, side="left")
    classes = []
    for index in range(len(EDGES) + 1):
        inside = place == index
        if not inside.any():
            continue
        classes.append(
            DensityClass(
                label=_label(index),
                middle=float(np.median(per_leaf[inside])),
                leaves=int(inside.sum()),
                at_level=tuple(int((score[inside] == level).sum()) for level in levels),
            )
        )
    return classes


def _label(index: int) -> str:
    if index == 0:
        return "none seen"
    if index == len(EDGES):
        return f"above {EDGES[-1]:,.0f}"
    if index == 1:
        return f"up to {EDGES[1]:,.0f}"
    return f"{EDGES[index - 1]:,.0f} to {EDGES[index]:,.0f}"


def levels_figure(
    classes: Sequence[DensityClass], level_names: Sequence[str], organism: str
) -> dict[str, Any]:
    """Draw the share of leaves at each level or a higher one, from class to class."""
    x = [1 + one.middle for one in classes]
    curves, points = [], []
    for place, name in enumerate(level_names):
        if place == 0:
            continue
        y = [100 * sum(one.at_level[place:]) / one.leaves for one in classes]
        tone = TONES[(place - 1) % len(TONES)]
        label = name if place == len(level_names) - 1 else f"{name}, or higher"
        curves.append(Curve(label, tone, x, y))
        points.append(
            Points(
                label,
                tone,
                x,
                y,
                [
                    f"{one.label} per leaf, {leaves(one.leaves)}: {share:.0f} in 100"
                    f" score {label}"
                    for one, share in zip(classes, y, strict=True)
                ],
            )
        )
    figure = plot(
        Axis(f"1 + {organism} per leaf", log=True),
        Axis("leaves, in 100", ends=(0, 100)),
        curves=curves,
        points=points,
    )
    for trace in figure["data"][: len(points)]:
        # The lines stand in the legend; their marks need not as well.
        trace["showlegend"] = False
    return figure
