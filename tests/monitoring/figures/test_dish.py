"""A dish is drawn with the name and the area of each of its cells."""

from math import hypot, pi

import pytest

from monitoring.figures.dish import LABEL_FROM_SHARE, draw_dish
from tests.builders import World


@pytest.mark.parametrize(
    ("diameter", "pitch", "offset"),
    [
        (150, 10, (0, 0)),
        (146.5, 12.7, (3, -2)),
        (90, 25, (12.5, 12.5)),
        (60, 5, (0, 1)),
    ],
)
def test_words_stand_inside_their_cell_and_the_rim(
    diameter: float, pitch: float, offset: tuple[float, float]
) -> None:
    drawing = draw_dish(inner_diameter_mm=diameter, pitch_mm=pitch, offset_mm=offset)
    for cell in drawing.cells:
        share = cell.area_mm2 / pitch**2
        assert (cell.label is None) == (share < LABEL_FROM_SHARE), cell.name
        if cell.label is None:
            continue
        x, y = cell.label.x_mm, cell.label.y_mm
        assert cell.x_mm < x < cell.x_mm + pitch, cell.name
        assert cell.y_mm < y < cell.y_mm + pitch, cell.name
        assert hypot(x, y) < diameter / 2, cell.name
        assert 0 < cell.label.scale <= pitch / 10
    whole = [cell for cell in drawing.cells if cell.whole]
    assert len(whole) == drawing.whole_cells
    assert [cell.area_mm2 for cell in whole] == pytest.approx([pitch**2] * len(whole))
    # All cells together are the dish.
    areas = sum(cell.area_mm2 for cell in drawing.cells)
    assert areas == pytest.approx(pi * diameter**2 / 4)


@pytest.mark.django_db
def test_the_page_gives_each_cells_area_in_drawing_and_table(world: World) -> None:
    client = world.client("lab")
    laboratory = client.get(world.url("laboratory/")).content.decode()
    address = laboratory.split("laboratory/dishes/")[1].split("/")[0]
    text = client.get(world.url(f"laboratory/dishes/{address}/")).content.decode()
    drawing = draw_dish(inner_diameter_mm=150, pitch_mm=10, offset_mm=(0, 0))
    for cell in drawing.cells:
        area = f"{cell.area_mm2 / 100:.4f}"
        end = "" if cell.whole else ", cut by the rim"
        assert f"<title>{cell.name}: {area} cm²{end}</title>" in text
        told = "whole" if cell.whole else "cut by the rim"
        row = f'<td>{cell.name}</td><td class="number">{area}</td><td>{told}</td>'
        assert row in text
        assert (f">{cell.name}</text>" in text) == (cell.label is not None)
    assert f"{drawing.unlabelled} slivers at the rim are too small" in text
