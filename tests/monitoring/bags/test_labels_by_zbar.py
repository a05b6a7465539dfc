"""Labels as they are printed, read by Debian's zbar-tools, as scanners read them."""

import subprocess
from pathlib import Path

import pypdfium2
import pytest

from deploy.steps.packages import find_program
from monitoring.labels.papers import SHEETS, Paper, roll
from monitoring.labels.printing import Label, labels_pdf
from tests.monitoring.bags.test_label_papers import (
    DOTS_PER_INCH,
    PAPERS,
    POINTS_PER_INCH,
    labels_to_print,
)

READER = find_program("zbarimg") or Path("zbarimg")
# zbarimg's own code for 'nothing found', by its manual page.
NOTHING_FOUND = 4


def _read(labels: list[Label], paper: Paper, folder: Path) -> list[list[str]]:
    """Render pages as a label printer does, and hold each label before the reader.

    One at a time, as a scanner meets them: of a whole page of codes in one picture
    this reader misses one or two in a hundred.
    """
    dots_per_mm = DOTS_PER_INCH / 25.4
    scale = DOTS_PER_INCH / POINTS_PER_INCH
    pdf = pypdfium2.PdfDocument(labels_pdf(labels, paper))
    pages = [page.render(scale=scale).to_pil() for page in pdf]
    pictures = []
    for number, (page, left, top) in enumerate(paper.places(1, len(labels))):
        box = (left, top, left + paper.label_mm[0], top + paper.label_mm[1])
        picture = pages[page].crop([round(side * dots_per_mm) for side in box])
        picture.save(folder / f"label-{number:03}.png")
        pictures.append(folder / f"label-{number:03}.png")
    return [_lines_of(picture) for picture in pictures]


def _lines_of(picture: Path) -> list[str]:
    done = subprocess.run(
        [READER, "--quiet", "-Sdisable", "-Sqrcode.enable", str(picture)],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode in {0, NOTHING_FOUND}, done.stderr
    return done.stdout.splitlines()


@pytest.mark.parametrize("name", PAPERS)
def test_every_label_of_a_page_is_read_whole(name: str, tmp_path: Path) -> None:
    paper = PAPERS[name]
    labels = labels_to_print(paper.labels + 1)
    read = _read(labels, paper, tmp_path)
    assert read == [[f"QR-Code:{label.url}"] for label in labels]


def test_an_empty_page_has_nothing_to_read(tmp_path: Path) -> None:
    """So that the reader tells what it sees and not what it was given."""
    page = pypdfium2.PdfDocument.new()
    page.new_page(200, 200)
    picture = tmp_path / "empty.png"
    page[0].render(scale=2).to_pil().save(picture)
    assert _lines_of(picture) == []


@pytest.mark.parametrize("turned", [90, 180, 270])
def test_a_bag_may_lie_any_way_round(turned: int, tmp_path: Path) -> None:
    (label,) = labels_to_print(1)
    page = pypdfium2.PdfDocument(labels_pdf([label], roll(57, 32)))[0]
    picture = tmp_path / "turned.png"
    scale = DOTS_PER_INCH / POINTS_PER_INCH
    page.render(scale=scale, rotation=turned).to_pil().save(picture)
    assert _lines_of(picture) == [f"QR-Code:{label.url}"]


def test_all_papers_on_offer_are_read() -> None:
    assert set(SHEETS) < set(PAPERS)
