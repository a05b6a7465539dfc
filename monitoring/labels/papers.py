"""Sheets and rolls of labels: how many, how large, where they lie.

The grids are common practice: sizes of label sheets that stationers sell widely.
"""

from collections.abc import Iterator
from dataclasses import dataclass

INCH_MM = 25.4
A4_MM = (210.0, 297.0)
LETTER_MM = (8.5 * INCH_MM, 11 * INCH_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """Labels of one size in columns and rows on a page; all lengths in mm."""

    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int = 1
    rows: int = 1
    # Of the first label's corner from the page's left and upper edge.
    left_mm: float = 0.0
    top_mm: float = 0.0
    # From one label's edge to the same edge of the next.
    pitch_mm: tuple[float, float] = (0.0, 0.0)

    @property
    def labels(self) -> int:
        """How many labels are on a page."""
        return self.columns * self.rows

    def places(self, first: int, number: int) -> Iterator[tuple[int, float, float]]:
        """Give page, left and top in mm for labels from the first free one, from 1.

        Labels lie row by row. Raises ValueError if the page has no such label.
        """
        if not 1 <= first <= self.labels:
            raise ValueError(f"A page has labels 1 to {self.labels}, not {first}.")
        for place in range(first - 1, first - 1 + number):
            page, on_page = divmod(place, self.labels)
            row, column = divmod(on_page, self.columns)
            yield (
                page,
                self.left_mm + column * self.pitch_mm[0],
                self.top_mm + row * self.pitch_mm[1],
            )


SHEETS = {
    "a4-21": Paper(
        page_mm=A4_MM,
        label_mm=(63.5, 38.1),
        columns=3,
        rows=7,
        left_mm=7.2,
        top_mm=15.1,
        pitch_mm=(66.0, 38.1),
    ),
    "a4-24": Paper(
        page_mm=A4_MM,
        label_mm=(70.0, 37.0),
        columns=3,
        rows=8,
        top_mm=0.5,
        pitch_mm=(70.0, 37.0),
    ),
    "a4-65": Paper(
        page_mm=A4_MM,
        label_mm=(38.1, 21.2),
        columns=5,
        rows=13,
        left_mm=4.75,
        top_mm=10.7,
        pitch_mm=(40.6, 21.2),
    ),
    "letter-30": Paper(
        page_mm=LETTER_MM,
        label_mm=(2.625 * INCH_MM, 1 * INCH_MM),
        columns=3,
        rows=10,
        left_mm=0.1875 * INCH_MM,
        top_mm=0.5 * INCH_MM,
        pitch_mm=(2.75 * INCH_MM, 1 * INCH_MM),
    ),
    "letter-10": Paper(
        page_mm=LETTER_MM,
        label_mm=(4 * INCH_MM, 2 * INCH_MM),
        columns=2,
        rows=5,
        left_mm=0.15625 * INCH_MM,
        top_mm=0.5 * INCH_MM,
        pitch_mm=(4.1875 * INCH_MM, 2 * INCH_MM),
    ),
}


def roll(width_mm: float, height_mm: float) -> Paper:
    """Give a roll, whose every label is a page of its own."""
    size = (width_mm, height_mm)
    return Paper(page_mm=size, label_mm=size, pitch_mm=size)


def paper_of(name: str, *, roll_mm: tuple[float, float]) -> Paper:
    """Give the paper of a name; any other name is the roll."""
    return SHEETS.get(name) or roll(*roll_mm)
