"""The animals and the debris of reference dishes: plain shapes of our own, in mm.

Lengths are those of adults, from memory and common practice: rust mites about 0.15 to
0.2 mm, predatory and spider mites 0.3 to 0.5 mm, thrips about 1 mm. The shapes are made
to be told apart as the animals are, by outline, size and legs; they name no species.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Literal

Colour = tuple[int, int, int]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Area:
    """A filled outline; points in lengths of the animal, its middle at 0, 0."""

    points: tuple[Point, ...]
    colour: Colour


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points; width in lengths of the animal."""

    points: tuple[Point, ...]
    width: float
    colour: Colour


Mark = Area | Stroke


@dataclass(frozen=True, slots=True)
class Look:
    """How an animal is drawn: its length, how far its legs reach, and its shape.

    reach: distance from the middle to the outermost point, in lengths.
    """

    words: str
    shortest_mm: float
    longest_mm: float
    reach: float
    draw: Callable[[float], tuple[Mark, ...]]

    @property
    def reach_mm(self) -> float:
        """Distance from the middle of the largest to its outermost point."""
        return self.longest_mm * self.reach


def _tinted(colour: Colour, tone: float) -> Colour:
    """Make a colour lighter or darker by up to a twelfth; tone 0 to 1."""
    factor = 1 + (tone - 0.5) / 6
    red, green, blue = (min(255, round(part * factor)) for part in colour)
    return red, green, blue


def ellipse(
    across: float, along: float, *, middle: Point = (0.0, 0.0), points: int = 28
) -> tuple[Point, ...]:
    """Give the outline of an ellipse by its half-axes, along x and across."""
    return tuple(
        (
            middle[0] + along * cos(2 * pi * at / points),
            middle[1] + across * sin(2 * pi * at / points),
        )
        for at in range(points)
    )


def _both_sides(*lines: tuple[Point, ...]) -> tuple[tuple[Point, ...], ...]:
    mirrored = tuple(tuple((x, -y) for x, y in line) for line in lines)
    return lines + mirrored


def _wedge(tone: float) -> tuple[Mark, ...]:
    """Draw a tapering spindle, widest behind the head, with two pairs of legs."""
    body, legs = _tinted((208, 160, 92), tone), _tinted((158, 118, 70), tone)
    outline = (
        (0.5, 0.0), (0.44, 0.09), (0.3, 0.15), (0.12, 0.16), (-0.1, 0.13),
        (-0.32, 0.08), (-0.5, 0.025), (-0.5, -0.025), (-0.32, -0.08), (-0.1, -0.13),
        (0.12, -0.16), (0.3, -0.15), (0.44, -0.09),
    )  # fmt: skip
    lines = _both_sides(
        ((0.4, 0.06), (0.5, 0.16), (0.58, 0.14)),
        ((0.3, 0.1), (0.38, 0.24), (0.46, 0.24)),
    )
    return (
        *(Stroke(line, 0.05, legs) for line in lines),
        Area(outline, body),
        Stroke(((-0.3, 0.0), (0.25, 0.0)), 0.03, legs),
    )


def _pear(tone: float) -> tuple[Mark, ...]:
    """Draw a pear, broad behind, with four pairs of long legs."""
    body, legs = _tinted((214, 178, 132), tone), _tinted((150, 116, 80), tone)
    outline = (
        (0.5, 0.0), (0.46, 0.09), (0.34, 0.17), (0.14, 0.24), (-0.1, 0.3),
        (-0.3, 0.29), (-0.44, 0.19), (-0.5, 0.0), (-0.44, -0.19), (-0.3, -0.29),
        (-0.1, -0.3), (0.14, -0.24), (0.34, -0.17), (0.46, -0.09),
    )  # fmt: skip
    lines = _both_sides(
        ((0.36, 0.1), (0.6, 0.3), (0.82, 0.3)),
        ((0.24, 0.15), (0.34, 0.44), (0.52, 0.56)),
        ((0.02, 0.2), (-0.08, 0.5), (-0.2, 0.62)),
        ((-0.14, 0.22), (-0.36, 0.46), (-0.58, 0.52)),
    )
    return (
        *(Stroke(line, 0.05, legs) for line in lines),
        Area(outline, body),
        Area(ellipse(0.12, 0.16, middle=(-0.16, 0.0)), _tinted((186, 136, 92), tone)),
    )


def _round(tone: float) -> tuple[Mark, ...]:
    """Draw a round body with two dark spots and four pairs of shorter legs."""
    body, legs = _tinted((176, 176, 96), tone), _tinted((128, 124, 66), tone)
    lines = _both_sides(
        ((0.34, 0.16), (0.52, 0.28), (0.66, 0.24)),
        ((0.22, 0.26), (0.34, 0.44), (0.46, 0.5)),
        ((-0.06, 0.3), (-0.14, 0.5), (-0.26, 0.56)),
        ((-0.24, 0.26), (-0.4, 0.42), (-0.54, 0.44)),
    )
    spot = _tinted((74, 70, 44), tone)
    return (
        *(Stroke(line, 0.05, legs) for line in lines),
        Area(ellipse(0.37, 0.5), body),
        Area(ellipse(0.09, 0.13, middle=(0.02, 0.21)), spot),
        Area(ellipse(0.09, 0.13, middle=(0.02, -0.21)), spot),
    )


def _long(tone: float) -> tuple[Mark, ...]:
    """Draw a long, ringed body with feelers and three pairs of legs."""
    body, dark = _tinted((178, 138, 70), tone), _tinted((112, 80, 42), tone)
    outline = (
        (0.5, 0.0), (0.48, 0.04), (0.4, 0.06), (0.36, 0.05), (0.3, 0.08),
        (0.12, 0.095), (0.04, 0.08), (-0.1, 0.1), (-0.3, 0.085), (-0.44, 0.04),
        (-0.5, 0.0), (-0.44, -0.04), (-0.3, -0.085), (-0.1, -0.1), (0.04, -0.08),
        (0.12, -0.095), (0.3, -0.08), (0.36, -0.05), (0.4, -0.06), (0.48, -0.04),
    )  # fmt: skip
    lines = _both_sides(
        ((0.47, 0.02), (0.56, 0.06), (0.63, 0.05)),
        ((0.28, 0.06), (0.36, 0.16), (0.42, 0.17)),
        ((0.16, 0.07), (0.14, 0.19), (0.1, 0.23)),
        ((0.06, 0.06), (-0.04, 0.18), (-0.14, 0.22)),
    )
    rings = tuple(
        Stroke(((at, -0.07), (at, 0.07)), 0.014, dark) for at in (-0.04, -0.14, -0.24)
    )
    eyes = tuple(
        Area(ellipse(0.014, 0.016, middle=(0.45, y)), dark) for y in (0.03, -0.03)
    )
    return (
        *(Stroke(line, 0.022, dark) for line in lines),
        Area(outline, body),
        *rings,
        *eyes,
    )


LookName = Literal["wedge", "pear", "round", "long"]
LOOKS: dict[str, Look] = {
    "wedge": Look("wedge with two pairs of legs, 0.2 mm", 0.15, 0.2, 0.62, _wedge),
    "pear": Look("pear with four pairs of legs, 0.4 mm", 0.33, 0.45, 0.9, _pear),
    "round": Look("round body with two spots, 0.5 mm", 0.4, 0.5, 0.72, _round),
    "long": Look("long ringed body, 1 mm", 0.9, 1.2, 0.66, _long),
}


def _hair(tone: float) -> tuple[Mark, ...]:
    bend = 0.5 * (tone - 0.5)
    points = tuple((x / 10 - 0.5, bend * (1 - (x / 5 - 1) ** 2)) for x in range(11))
    return (Stroke(points, 0.02, _tinted((190, 186, 170), tone)),)


def _grit(tone: float) -> tuple[Mark, ...]:
    outline = tuple(
        (
            0.5 * (0.7 + 0.3 * sin(7 * tone + 2.3 * at)) * cos(2 * pi * at / 9),
            0.4 * (0.7 + 0.3 * cos(11 * tone + 1.7 * at)) * sin(2 * pi * at / 9),
        )
        for at in range(9)
    )
    return (Area(outline, _tinted((104, 98, 90), tone)),)


def _fleck(tone: float) -> tuple[Mark, ...]:
    outline = tuple(
        (
            0.5 * (0.6 + 0.4 * sin(6 * tone + 2.9 * at)) * cos(2 * pi * at / 8),
            0.22 * (0.6 + 0.4 * cos(8 * tone + 1.9 * at)) * sin(2 * pi * at / 8),
        )
        for at in range(8)
    )
    return (Area(outline, _tinted((204, 162, 104), tone)),)


def _scrap(tone: float) -> tuple[Mark, ...]:
    outline = tuple(
        (
            0.5 * (0.75 + 0.25 * sin(5 * tone + 3.1 * at)) * cos(2 * pi * at / 13),
            0.36 * (0.75 + 0.25 * cos(9 * tone + 2.1 * at)) * sin(2 * pi * at / 13),
        )
        for at in range(13)
    )
    return (Area(outline, _tinted((160, 176, 120), tone)),)


def _pollen(tone: float) -> tuple[Mark, ...]:
    return (Area(ellipse(0.5, 0.5, points=14), _tinted((206, 184, 96), tone)),)


def _bubble(tone: float) -> tuple[Mark, ...]:
    ring = ellipse(0.5, 0.5)
    return (Stroke((*ring, ring[0]), 0.06, _tinted((170, 172, 170), tone)),)


# Of every hundred pieces of debris so many; what washes off a leaf (common practice).
DEBRIS: dict[str, tuple[int, Look]] = {
    "hair": (26, Look("leaf hair", 0.3, 2.0, 0.52, _hair)),
    "grit": (22, Look("grit", 0.04, 0.25, 0.55, _grit)),
    "scrap": (8, Look("scrap of leaf", 0.2, 1.2, 0.55, _scrap)),
    "fleck": (18, Look("fleck of leaf", 0.08, 0.3, 0.55, _fleck)),
    "pollen": (18, Look("pollen", 0.03, 0.05, 0.5, _pollen)),
    "bubble": (8, Look("bubble", 0.1, 0.9, 0.55, _bubble)),
}
