"""Labels as a PDF: a QR code on the left, code, block, day and position beside it."""

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

import segno
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from monitoring.labels.papers import Paper

POINTS_PER_MM = 72 / 25.4
# Printers miss the edge of a label by a millimetre or two.
INNER_MM = 1.5
# ISO/IEC 18004: a QR code keeps four modules free around it.
QUIET_MODULES = 4
# A QR code larger than this is no easier to read, and takes the words their room.
LARGEST_QR_MM = 30.0
QR_SHARE = 0.55
REGULAR, BOLD = "Helvetica", "Helvetica-Bold"
# The encoding of a PDF's own fonts, which need not be carried along.
LATIN = "cp1252"
LARGEST_CODE_PT, LARGEST_PT, SMALLEST_PT = 24.0, 10.0, 5.0
LEADING, BELOW_BASELINE = 1.22, 0.22
# Of the label's height the code may take this much.
CODE_SHARE = 0.36


@dataclass(frozen=True, slots=True)
class Label:
    """What is on one label; `url` is what its QR code holds."""

    url: str
    code: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of words with its font and size."""

    text: str
    font: str
    points: float


def latin(text: str) -> str:
    """Write a text in the letters that the PDF's own fonts have.

    Accents that they lack are dropped; a letter with no such kin becomes “?”.
    """
    if _fits(text):
        return text
    parts = (
        sign if _fits(sign) else unicodedata.normalize("NFKD", sign)[0] for sign in text
    )
    return "".join(sign if _fits(sign) else "?" for sign in parts)


def _fits(text: str) -> bool:
    try:
        text.encode(LATIN)
    except UnicodeEncodeError:
        return False
    return True


def labels_pdf(
    labels: Sequence[Label], paper: Paper, *, first: int = 1, title: str = "Labels"
) -> bytes:
    """Draw labels on as many pages as they need, from the first free label on.

    Raises ValueError if the page has no such first label.
    """
    file = BytesIO()
    width, height = (side * POINTS_PER_MM for side in paper.page_mm)
    canvas = Canvas(file, pagesize=(width, height), invariant=True)
    canvas.setTitle(latin(title))
    canvas.setCreator("Washboard")
    last = 0
    places = paper.places(first, len(labels))
    for label, (page, left, top) in zip(labels, places, strict=True):
        if page != last:
            canvas.showPage()
            last = page
        canvas.saveState()
        canvas.translate(left * POINTS_PER_MM, height - top * POINTS_PER_MM)
        canvas.scale(POINTS_PER_MM, -POINTS_PER_MM)
        _draw(canvas, label, paper)
        canvas.restoreState()
    canvas.save()
    return file.getvalue()


def _draw(canvas: Canvas, label: Label, paper: Paper) -> None:
    """Draw one label from its upper left corner, in mm, downwards."""
    width, height = paper.label_mm
    room = height - 2 * INNER_MM
    side = min(room, LARGEST_QR_MM, QR_SHARE * (width - 2 * INNER_MM))
    canvas.saveState()
    canvas.translate(INNER_MM, (height - side) / 2)
    _draw_qr(canvas, label.url, side)
    canvas.restoreState()
    left = INNER_MM + side + 0.5
    canvas.translate(left, 0)
    _draw_words(canvas, label, width - left - INNER_MM, height)


def _draw_qr(canvas: Canvas, url: str, side: float) -> None:
    """Draw a QR code of a side in mm, its free margin included."""
    matrix = segno.make(url, error="m", micro=False, boost_error=False).matrix
    module = side / (len(matrix) + 2 * QUIET_MODULES)
    path = canvas.beginPath()
    for row, modules in enumerate(matrix):
        column = 0
        while column < len(modules):
            end = column
            while end < len(modules) and modules[end]:
                end += 1
            if end > column:
                path.rect(
                    (QUIET_MODULES + column) * module,
                    (QUIET_MODULES + row) * module,
                    (end - column) * module,
                    module,
                )
            column = end + 1
    canvas.drawPath(path, stroke=0, fill=1)


def _draw_words(canvas: Canvas, label: Label, width: float, height: float) -> None:
    """Write the code as large as it fits, and the lines beneath it."""
    lines = [latin(line) for line in label.lines if line]
    written = _sized(label.code, lines, width, height - 2 * INNER_MM)
    baseline = (height - sum(_line_mm(one.points) for one in written)) / 2
    for one in written:
        baseline += _line_mm(one.points)
        canvas.saveState()
        canvas.translate(0, baseline - BELOW_BASELINE * _line_mm(one.points))
        canvas.scale(1 / POINTS_PER_MM, -1 / POINTS_PER_MM)
        canvas.setFont(one.font, one.points)
        canvas.drawString(0, 0, _cut(one, width * POINTS_PER_MM))
        canvas.restoreState()


def _line_mm(points: float) -> float:
    return LEADING * points / POINTS_PER_MM


def _sized(code: str, lines: list[str], width: float, height: float) -> list[_Line]:
    """Give each line its size; a long one is set smaller, to a limit."""
    room = width * POINTS_PER_MM
    code_pt = min(
        room / stringWidth(code, BOLD, 1),
        CODE_SHARE * height / _line_mm(1),
        LARGEST_CODE_PT,
    )
    left_mm = height - _line_mm(code_pt)
    usual = min(LARGEST_PT, code_pt, left_mm / _line_mm(max(len(lines), 1)))
    sized = [_Line(code, BOLD, code_pt)]
    for text in lines:
        fitting = room / stringWidth(text, REGULAR, 1)
        smallest = min(SMALLEST_PT, usual)
        sized.append(_Line(text, REGULAR, max(min(usual, fitting), smallest)))
    return sized


def _cut(line: _Line, room: float) -> str:
    """Shorten a line that is still too wide, with three dots for the rest."""
    text = line.text
    if stringWidth(text, line.font, line.points) <= room + 0.01:
        return text
    while text and stringWidth(text + "...", line.font, line.points) > room:
        text = text[:-1]
    return text.rstrip() + "..."
