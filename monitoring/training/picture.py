"""Draw what is seen of a reference dish, as a PNG that holds nothing but pixels."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from io import BytesIO
from math import cos, floor, sin

from PIL import Image, ImageDraw

from monitoring.training.fields import Field, view_mm
from monitoring.training.looks import DEBRIS, LOOKS, Area, Colour, Mark, Point
from monitoring.training.scene import Piece, Scene, ScenePlan

SIDE_PX = 840
# Drawn so many times larger and brought down, which makes smooth edges.
FINER = 2
GROUND: Colour = (240, 238, 230)
LINE: Colour = (150, 160, 172)
GUIDE: Colour = (158, 112, 168)
RIM: Colour = (96, 100, 106)
OUTSIDE: Colour = (21, 24, 28)
LINE_MM, RIM_MM = 0.08, 0.5
# The marks of what was there, one for each organism of a dish in its order.
MARKS: tuple[tuple[str, Colour], ...] = (
    ("circle", (163, 67, 27)),
    ("diamond", (11, 107, 103)),
    ("triangle", (74, 78, 158)),
    ("square", (107, 42, 91)),
)


@dataclass(frozen=True, slots=True)
class View:
    """What part of a dish is drawn: middle, width, and in how many pixels."""

    x_mm: float
    y_mm: float
    width_mm: float
    side_px: int = SIDE_PX


def field_png(
    plan: ScenePlan,
    scene: Scene,
    field: Field,
    *,
    magnification: float,
    marks: Mapping[str, int] | None = None,
) -> bytes:
    """Draw a round field of view; with `marks`, what is there is ringed.

    marks: for each look, which of MARKS it is given.
    """
    view = View(field.x_mm, field.y_mm, view_mm(magnification))
    canvas = _Canvas(view)
    canvas.dish(plan)
    canvas.guides(field)
    for kind in (scene.debris, scene.animals):
        canvas.pieces(kind)
    if marks is not None:
        for one in scene.animals:
            if _within(one, field):
                canvas.mark(one, *MARKS[marks[one.look]])
    return canvas.png(is_round=True)


def view_png(plan: ScenePlan, scene: Scene, view: View, *, lines: bool = True) -> bytes:
    """Draw a square view of a dish, with its grid or without."""
    canvas = _Canvas(view)
    if lines:
        canvas.dish(plan)
    for kind in (scene.debris, scene.animals):
        canvas.pieces(kind)
    return canvas.png(is_round=False)


def _within(one: Piece, field: Field) -> bool:
    half = field.side_mm / 2
    return abs(one.x_mm - field.x_mm) <= half and abs(one.y_mm - field.y_mm) <= half


class _Canvas:
    """A picture in the making; millimetres in, pixels out."""

    def __init__(self, view: View) -> None:
        self.view = view
        self.side = view.side_px * FINER
        self.per_mm = self.side / view.width_mm
        self.image = Image.new("RGB", (self.side, self.side), GROUND)
        self.draw = ImageDraw.Draw(self.image)

    def _at(self, x_mm: float, y_mm: float) -> Point:
        return (
            (x_mm - self.view.x_mm) * self.per_mm + self.side / 2,
            (y_mm - self.view.y_mm) * self.per_mm + self.side / 2,
        )

    def dish(self, plan: ScenePlan) -> None:
        """Draw the grid's lines, the rim, and the dark beyond it."""
        width = max(round(LINE_MM * self.per_mm), FINER)
        reach = self.view.width_mm / 2
        for axis, middle in enumerate((self.view.x_mm, self.view.y_mm)):
            offset, pitch = plan.offset_mm[axis], plan.pitch_mm
            first = floor((middle - reach - offset) / pitch)
            last = floor((middle + reach - offset) / pitch) + 1
            for number in range(first, last + 1):
                at = self._at(*([offset + number * pitch] * 2))[axis]
                ends = (
                    [(at, 0), (at, self.side)]
                    if axis == 0
                    else [(0, at), (self.side, at)]
                )
                self.draw.line(ends, fill=LINE, width=width)
        self._beyond(plan.inner_diameter_mm / 2)

    def _beyond(self, radius_mm: float) -> None:
        (left, top), (right, bottom) = (
            self._at(-radius_mm, -radius_mm),
            self._at(radius_mm, radius_mm),
        )
        if self._shows_rim(radius_mm):
            outside = Image.new("L", self.image.size, 255)
            ImageDraw.Draw(outside).ellipse((left, top, right, bottom), fill=0)
            self.image.paste(OUTSIDE, (0, 0), outside)
            width = max(round(RIM_MM * self.per_mm), 1)
            # The rim stands outside the inner diameter.
            box = (left - width, top - width, right + width, bottom + width)
            self.draw.ellipse(box, outline=RIM, width=width)

    def _shows_rim(self, radius_mm: float) -> bool:
        reach = self.view.width_mm / 2
        far_x, far_y = abs(self.view.x_mm) + reach, abs(self.view.y_mm) + reach
        return far_x**2 + far_y**2 > radius_mm**2

    def guides(self, field: Field) -> None:
        """Frame by short dashes the part of the cell that is counted in this look."""
        if field.parts == 1:
            return
        half, dash = field.side_mm / 2, field.side_mm / 40
        for step in range(0, 40, 2):
            start = -half + step * dash
            for side in (-half, half):
                for ends in (
                    ((start, side), (start + dash, side)),
                    ((side, start), (side, start + dash)),
                ):
                    points = [self._at(field.x_mm + x, field.y_mm + y) for x, y in ends]
                    self.draw.line(points, fill=GUIDE, width=3 * FINER // 2)

    def pieces(self, pieces: Iterable[Piece]) -> None:
        """Draw what lies in view."""
        reach = self.view.width_mm / 2
        for one in pieces:
            look = LOOKS[one.look] if one.look in LOOKS else DEBRIS[one.look][1]
            edge = reach + look.reach * one.length_mm
            if (
                abs(one.x_mm - self.view.x_mm) <= edge
                and abs(one.y_mm - self.view.y_mm) <= edge
            ):
                self._piece(one, look.draw(one.tone))

    def _piece(self, one: Piece, shape: tuple[Mark, ...]) -> None:
        for mark in shape:
            points = [self._turned(one, point) for point in mark.points]
            if isinstance(mark, Area):
                self.draw.polygon(points, fill=mark.colour)
            else:
                width = max(round(mark.width * one.length_mm * self.per_mm), FINER)
                self.draw.line(points, fill=mark.colour, width=width, joint="curve")

    def _turned(self, one: Piece, point: Point) -> Point:
        x, y = point[0] * one.length_mm, point[1] * one.length_mm
        return self._at(
            one.x_mm + x * cos(one.turn) - y * sin(one.turn),
            one.y_mm + x * sin(one.turn) + y * cos(one.turn),
        )

    def mark(self, one: Piece, shape: str, colour: Colour) -> None:
        """Ring an animal by its organism's shape and colour."""
        x, y = self._at(one.x_mm, one.y_mm)
        size = max(0.75 * one.length_mm * self.per_mm, 11 * FINER)
        corners = {"diamond": (4, 45), "square": (4, 0), "triangle": (3, 0)}
        width = 2 * FINER
        if shape == "circle":
            box = (x - size, y - size, x + size, y + size)
            self.draw.ellipse(box, outline=colour, width=width)
        else:
            sides, turn = corners[shape]
            self.draw.regular_polygon(
                (x, y, size * 1.25), sides, turn, outline=colour, width=width
            )

    def png(self, *, is_round: bool) -> bytes:
        """Bring the picture down to its size, and write it without a word in it."""
        if is_round:
            around = Image.new("L", self.image.size, 255)
            ImageDraw.Draw(around).ellipse((0, 0, self.side, self.side), fill=0)
            self.image.paste(OUTSIDE, (0, 0), around)
        small = self.image.reduce(FINER)
        written = BytesIO()
        # All colours are kept: a palette would shift the animals' from look to look.
        small.save(written, "PNG")
        return written.getvalue()
