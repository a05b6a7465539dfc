"""Labels lie on the paper, and their QR codes are read by another reader."""

from itertools import pairwise
from random import Random

import pypdfium2
import pytest
import zxingcpp

from monitoring.labels.codes import ALPHABET, LENGTH, printed, with_check
from monitoring.labels.papers import SHEETS, Paper, paper_of, roll
from monitoring.labels.printing import Label, labels_pdf, latin

PAPERS = {**SHEETS, "roll": roll(57, 32), "small roll": roll(30, 20)}
# A printer of 203 dots an inch, the coarsest that is common for labels.
DOTS_PER_INCH = 203
# Of a side of the code of version 4, which holds an address as long as theirs here.
MODULES = 33
POINTS_PER_INCH = 72
BLOCK = "Upper Terrace by the Old Chapel Road, northern slope, Ločnica"


def labels_to_print(number: int) -> list[Label]:
    chance = Random(number)  # noqa: S311 - nothing is to be kept secret
    bodies = ["".join(chance.choices(ALPHABET, k=LENGTH - 1)) for _ in range(number)]
    codes = [with_check(body) for body in bodies]
    return [
        Label(
            url=f"https://washboard.example.org/g/three-hills-growers/b/{code}/",
            code=printed(code),
            lines=(BLOCK, "Hill Farm", "14 Aug 2026, bag 12", "leaf, upper"),
        )
        for code in codes
    ]


def _pages(pdf: bytes) -> list[list[zxingcpp.Barcode]]:
    """Read the QR codes of each page with ZXing, which had no part in drawing them."""
    scale = DOTS_PER_INCH / POINTS_PER_INCH
    return [
        list(zxingcpp.read_barcodes(page.render(scale=scale).to_pil()))
        for page in pypdfium2.PdfDocument(pdf)
    ]


@pytest.mark.parametrize("name", PAPERS)
def test_every_qr_code_holds_the_whole_address(name: str) -> None:
    paper = PAPERS[name]
    labels = labels_to_print(min(paper.labels, 12) + 1)
    first = paper.labels - 10 if paper.labels > 12 else 1
    pages = _pages(labels_pdf(labels, paper, first=first))
    read = [code.text for page in pages for code in page]
    assert sorted(read) == sorted(label.url for label in labels)
    assert all(str(code.format) == "QR Code" for page in pages for code in page)


@pytest.mark.parametrize("name", PAPERS)
def test_qr_modules_are_large_enough_for_a_phone(name: str) -> None:
    """At least 0.33 mm a module: common practice for phones."""
    pages = _pages(labels_pdf(labels_to_print(1), PAPERS[name]))
    corners = pages[0][0].position
    side = corners.top_right.x - corners.top_left.x
    module = side / MODULES
    assert module / DOTS_PER_INCH * 25.4 > 0.33
    # ISO/IEC 18004 keeps four modules free around a code; here, to the label's edge.
    edge = PAPERS[name].left_mm / 25.4 * DOTS_PER_INCH
    assert corners.top_left.x - edge > 4 * module


@pytest.mark.parametrize("name", SHEETS)
def test_labels_lie_within_the_page_and_apart(name: str) -> None:
    paper = SHEETS[name]
    places = list(paper.places(1, paper.labels))
    width, height = paper.label_mm
    assert max(left for _, left, _ in places) + width <= paper.page_mm[0] + 0.3
    assert max(top for _, _, top in places) + height <= paper.page_mm[1] + 0.6
    for (_, left, top), (_, next_left, next_top) in pairwise(places):
        assert next_left >= left + width - 1e-9 or next_top >= top + height - 1e-9


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_is_centred_as_it_is_cut(name: str) -> None:
    """The margins left and right are alike, and those above and below (to 1 mm)."""
    paper = SHEETS[name]
    *_, (_, left, top) = paper.places(1, paper.labels)
    right = paper.page_mm[0] - left - paper.label_mm[0]
    below = paper.page_mm[1] - top - paper.label_mm[1]
    assert right == pytest.approx(paper.left_mm, abs=1)
    assert below == pytest.approx(paper.top_mm, abs=1)


def test_printing_goes_on_at_the_first_free_label() -> None:
    paper = SHEETS["a4-21"]
    assert next(paper.places(5, 1)) == (0, 7.2 + 66.0, 15.1 + 38.1)
    pages = _pages(labels_pdf(labels_to_print(3), paper, first=20))
    assert [len(page) for page in pages] == [2, 1]


@pytest.mark.parametrize("first", [0, 22, -1])
def test_a_label_that_is_not_on_the_sheet_is_refused(first: int) -> None:
    with pytest.raises(ValueError, match="labels 1 to 21"):
        labels_pdf(labels_to_print(1), SHEETS["a4-21"], first=first)


def test_the_words_are_on_the_label() -> None:
    pdf = labels_pdf(labels := labels_to_print(1), PAPERS["letter-10"])
    words = pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_range()
    assert labels[0].code in words
    assert "14 Aug 2026, bag 12" in words
    assert "leaf, upper" in words
    assert "Upper Terrace by the Old Chapel" in words


def test_the_size_of_the_page_is_that_of_the_paper() -> None:
    for name, paper in PAPERS.items():
        page = pypdfium2.PdfDocument(labels_pdf(labels_to_print(1), paper))[0]
        size_mm = [side / POINTS_PER_INCH * 25.4 for side in page.get_size()]
        assert size_mm == pytest.approx(paper.page_mm, abs=0.01), name


@pytest.mark.parametrize(
    ("text", "written"),
    [("Müller é", "Müller é"), ("Ločnica", "Locnica"), ("葡萄 7", "?? 7"), ("", "")],
)
def test_letters_that_the_fonts_lack_do_no_harm(text: str, written: str) -> None:
    assert latin(text) == written


def test_an_unknown_paper_is_the_roll() -> None:
    assert paper_of("roll", roll_mm=(50, 25)) == roll(50, 25)
    assert isinstance(paper_of("a4-24", roll_mm=(50, 25)), Paper)
