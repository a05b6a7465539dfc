"""What the page of one reference dish shows: where to look, and what was there."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from monitoring.figures.dish import DishDrawing, draw_dish
from monitoring.models import ReferenceContent, ReferenceDish, ReferenceReading
from monitoring.pages.training_record import Compared, of_reading
from monitoring.services.training import plan_of
from monitoring.training.fields import Field, fields_of, serpentine, view_mm
from monitoring.training.looks import LOOKS, Stroke
from monitoring.training.picture import MARKS

# Of an animal neither lighter nor darker than most.
MIDDLE_TONE = 0.5
# The site's tones for the marks by which animals are ringed, in the order of MARKS.
MARK_TONES = ("rust", "teal", "indigo", "plum")


@dataclass(frozen=True, slots=True)
class Found:
    """One organism on the page after counting: the figures, and its mark."""

    compared: Compared
    shape: str
    tone: str


@dataclass(frozen=True, slots=True)
class ShapePart:
    """A filled outline, or a line with its width; points as SVG has them."""

    points: str
    colour: str
    width: float


@dataclass(frozen=True, slots=True)
class Shape:
    """How an organism of the dish looks, a length wide."""

    content: ReferenceContent
    parts: list[ShapePart]


@dataclass(frozen=True, slots=True)
class ReferencePage:
    """The way through a dish, and the look that is shown first."""

    looks: tuple[Field, ...]
    at: int
    drawing: DishDrawing
    cells: frozenset[str]
    view_mm: float
    found: list[Found]
    shapes: list[Shape]

    @property
    def look(self) -> Field:
        """The look that is shown first."""
        return self.looks[self.at]

    @property
    def turn(self) -> int:
        """Its number, from 1."""
        return self.at + 1

    @property
    def before(self) -> int | None:
        """The look before it, if any."""
        return self.at - 1 if self.at else None

    @property
    def after(self) -> int | None:
        """The look after it, if any."""
        return self.at + 1 if self.at + 1 < len(self.looks) else None

    def for_script(self, *, person: str, reference: str) -> dict[str, Any]:
        """Give what the script needs: names of cells, and in how many parts."""
        parts = {look.cell: look.parts for look in self.looks}
        return {
            "cells": [[cell, number] for cell, number in parts.items()],
            "at": self.at,
            "key": f"training {reference} {person}",
        }


def looks_of(reference: ReferenceDish) -> tuple[Field, ...]:
    """List the looks that a reference dish takes."""
    grid = plan_of(reference).grid
    cells = tuple(reference.cells) or serpentine(grid)
    return fields_of(grid, cells, reference.magnification)


def reference_page(
    reference: ReferenceDish, reading: ReferenceReading | None, *, at: str
) -> ReferencePage:
    """Lay out the page; an odd place to look at is taken as the first."""
    looks = looks_of(reference)
    dish = reference.dish
    place = int(at) if at.isdecimal() and len(at) < len("100000") else 0
    return ReferencePage(
        looks=looks,
        at=place if place < len(looks) else 0,
        drawing=draw_dish(
            inner_diameter_mm=dish.inner_diameter_mm,
            pitch_mm=dish.pitch_mm,
            offset_mm=(dish.offset_x_mm, dish.offset_y_mm),
        ),
        cells=frozenset(look.cell for look in looks),
        view_mm=view_mm(reference.magnification),
        found=_found(reference, of_reading(reading)) if reading else [],
        shapes=[_shape(one) for one in reference.contents.all()],
    )


def _found(reference: ReferenceDish, compared: Sequence[Compared]) -> list[Found]:
    mark_of = {
        content.organism_id: mark
        for content, mark in zip(
            reference.contents.all(), marks_of(reference).values(), strict=True
        )
    }
    return [
        Found(one, MARKS[mark][0], MARK_TONES[mark])
        for one in compared
        for mark in [mark_of[one.organism.pk]]
    ]


def _shape(content: ReferenceContent) -> Shape:
    return Shape(
        content,
        [
            ShapePart(
                points=" ".join(f"{x:.3f},{y:.3f}" for x, y in mark.points),
                colour="#{:02x}{:02x}{:02x}".format(*mark.colour),
                width=mark.width if isinstance(mark, Stroke) else 0.0,
            )
            for mark in LOOKS[content.look].draw(MIDDLE_TONE)
        ],
    )


def marks_of(reference: ReferenceDish) -> dict[str, int]:
    """Say by which mark each look of a dish is ringed: as in charts, or the next free.

    In the organisms' order.
    """
    marks: dict[str, int] = {}
    for one in reference.contents.all():
        wanted = [(one.organism.position + at) % len(MARKS) for at in range(len(MARKS))]
        marks[one.look] = next(at for at in wanted if at not in marks.values())
    return marks
