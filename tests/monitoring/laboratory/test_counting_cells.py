"""Which cells of a dish come next, and how a tally's total follows from its cells."""

import re
from typing import Any

import pytest

from blocks.tenancy import stating
from monitoring.estimation import DishGrid, cell_order, expand_cells, plan_cells
from monitoring.figures.dish_cells import mark_cells
from monitoring.models import Dish, Tally
from tests.builders import World
from tests.desks import Desk

pytestmark = pytest.mark.django_db
GRID = DishGrid(inner_diameter_mm=150, pitch_mm=10)
PILOT = "9 12 4 0 15 7 11 3 8 21"


def ask(world: World, **query: Any) -> Any:
    with stating(world.group.pk):
        dish = Dish.objects.get(is_usual=True)
    url = world.url(f"laboratory/dishes/{dish.uuid}/cells/")
    return world.client("lab").get(url, query)


def text_of(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def terms(**more: Any) -> dict[str, Any]:
    return {"seed": 7, "cv": 15, "pilot": 10, "counts": "", "further": ""} | more


def cells_in(text: str) -> list[str]:
    return re.findall(r'<li class="code">(\w+)</li>', text)


def test_a_new_dish_gets_ten_random_cells_and_the_number_of_its_order(
    world: World,
) -> None:
    one, other = text_of(ask(world)), text_of(ask(world))
    assert len(cells_in(one)) == 10
    seed = re.search(r'name="seed" value="(\d+)"', one)
    assert seed
    order = cell_order(GRID.cell_names, seed=int(seed[1]))
    assert cells_in(one) == list(order[:10])
    assert cells_in(one) != cells_in(other)


def test_the_number_of_an_order_gives_it_again(world: World) -> None:
    order = cell_order(GRID.cell_names, seed=7)
    assert cells_in(text_of(ask(world, **terms()))) == list(order[:10])


def test_pilot_counts_say_which_cells_follow_and_what_they_buy(world: World) -> None:
    order = cell_order(GRID.cell_names, seed=7)
    counts = dict(zip(order, map(int, PILOT.split()), strict=False))
    plan = plan_cells(counts, grid=GRID, cv=0.15)
    text = text_of(ask(world, **terms(counts=PILOT)))
    assert (
        f"count {plan.further_cells} further cells, {plan.cells} of 208 in all" in text
    )
    assert cells_in(text) == list(order[: plan.cells])
    assert f"about {100 * plan.expected_cv:.0f} % of it" in text
    # Drawn on the dish with their turns.
    assert text.count('class="further"') == 2 * plan.further_cells
    assert f"<title>{plan.cells}: {order[plan.cells - 1]}</title>" in text


def test_further_counts_give_the_total(world: World) -> None:
    further = " ".join(["9", "4", "12", "7"] * 8)
    text = text_of(ask(world, **terms(counts=PILOT, further=further)))
    assert re.search(r"About [\d,]+ animals in the dish \([\d,]+ to [\d,]+;", text)
    assert "Averaged over" in text


def test_another_number_of_further_cells_is_taken_and_said(world: World) -> None:
    text = text_of(ask(world, **terms(counts=PILOT, further="9 4 12")))
    assert "animals in the dish" in text
    assert "The first cells called for" in text


def test_few_animals_are_counted_whole(world: World) -> None:
    text = text_of(ask(world, **terms(counts="0 1 0 0 0 0 1 0 0 0")))
    assert "count the whole dish" in text
    assert len(cells_in(text)) == 10


def test_all_cells_counted_leave_no_doubt(world: World) -> None:
    further = " ".join(["1"] * 198)
    text = text_of(ask(world, **terms(counts="0 1 0 0 0 0 1 0 0 0", further=further)))
    assert "About 200 animals in the dish (200 to 200;" in text


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"counts": "1 2 3"}, "3 counts for 10 cells"),
        ({"counts": "1 2 many"}, "“many” is no count of a cell"),
        ({"counts": "1 2 -3"}, "“-3” is no count"),
        ({"counts": "1 2 3.5"}, "“3.5” is no count"),
        ({"counts": "9999999"}, "“9999999” is no count"),
        ({"further": "3 4"}, "Give the counts of the first cells too"),
        ({"counts": PILOT, "further": "1 " * 199}, "the dish has 198 further cells"),
        ({"seed": "x"}, "Write a whole number"),
        ({"seed": -1}, "greater than or equal to 0"),
        ({"seed": 10**12}, "less than or equal to 999999999"),
        ({"cv": 0}, "greater than or equal to 5"),
        ({"cv": "nan"}, "Write a whole number"),
        ({"pilot": 3}, "greater than or equal to 8"),
        ({"pilot": 300}, "less than or equal to 20"),
    ],
)
def test_what_cannot_be_is_said_in_words_and_stays_typed(
    world: World, change: dict[str, object], words: str
) -> None:
    answer = ask(world, **terms(**change))
    assert answer.status_code == 422
    text = text_of(answer)
    assert words in text
    assert str(next(iter(change.values()))).strip() in text


@pytest.mark.parametrize(
    ("diameter", "pitch"), [(60, 60), (20, 10), (90, 15), (500, 8), (150, 3)]
)
@pytest.mark.parametrize("counts", ["", PILOT, "0 0 0 0 0 0 0 0 0 0"])
def test_any_dish_is_answered(
    world: World, diameter: float, pitch: float, counts: str
) -> None:
    with stating(world.group.pk):
        Dish.objects.update(inner_diameter_mm=diameter, pitch_mm=pitch)
    answer = ask(world, **terms(counts=counts))
    assert answer.status_code == 200


def test_numbers_of_cells_cut_by_the_rim_stand_inside_it() -> None:
    order = cell_order(GRID.cell_names, seed=1)
    marked = mark_cells(GRID, order[:10], order[10:])
    assert [mark.turn for mark in marked.marks] == list(range(1, 209))
    assert {mark.stage for mark in marked.marks[:10]} == {"pilot"}
    for mark in marked.marks:
        foot = mark.y_mm - 0.16 * 10
        assert mark.x_mm**2 + foot**2 <= (0.93 * 75) ** 2 + 1e-6


HEADER = "bag,block,collected_on,tissue,position,rust_mites,rust_mites_cells"


def publish(world: World, *rows: str, header: str = HEADER) -> None:
    desk = Desk(world)
    sheet = desk.publish(desk.upload("\n".join([header, *rows]).encode()))
    assert sheet.state == "published", desk.findings(sheet)


def tally_text(world: World, **of: Any) -> str:
    with stating(world.group.pk):
        tally = Tally.objects.get(organism__code="rust_mites", **of)
    answer = world.client("grower").get(world.url(f"tallies/{tally.uuid}/"))
    assert answer.status_code == 200
    return text_of(answer)


def test_cells_with_their_counts_give_total_interval_and_correction(
    world: World,
) -> None:
    counts = {"C4": 3, "H8": 9, "I8": 14, "J11": 6, "F1": 1, "M9": 8}
    publish(world, "1,Block 0,2026-08-14,leaf,mid,,")
    rows = [f"1,rust_mites,{cell},{count}" for cell, count in counts.items()]
    publish(world, *rows, header="bag,organism,cell,count")
    areas = dict(zip(GRID.cell_names, GRID.cell_areas_mm2, strict=True))
    expected = expand_cells(
        list(counts.values()),
        [areas[cell] for cell in counts],
        dish_area_mm2=GRID.area_mm2,
        cells_in_dish=208,
    )
    text = tally_text(world)
    assert f"= {expected.total:.1f}</dd>" in text
    assert f"<dt>Standard error</dt><dd>{expected.standard_error:.1f}</dd>" in text
    assert "6/208) = 0.985" in text
    assert "t with 5 degrees of freedom" in text
    assert "the interval holds 95 times in 100" in text


def test_a_sum_over_named_cells_has_an_interval_at_best(world: World) -> None:
    publish(world, "1,Block 0,2026-08-14,leaf,mid,12,C4 D7 E2")
    text = tally_text(world)
    assert "at the very best" in text
    assert "Only the sum was written down" in text
    assert "not written down</td>" in text


def test_a_number_of_random_cells_has_an_interval_at_best(world: World) -> None:
    """12 animals in 10 of 208 cells: exact Poisson limits 6.20 to 20.96 of 12.

    Source: standard tables of the Poisson limits (gamma quantiles).
    """
    publish(world, "1,Block 0,2026-08-14,leaf,mid,12,10")
    text = tally_text(world)
    low, high = (12 + limit * (1 - 10 / 208) / (10 / 208) for limit in (6.2, 20.96))
    assert f"at the very best {round(low, -1):.0f} to {round(high, -1):.0f}" in text
    assert "which ones was not written down" in text


def test_no_animal_in_some_cells_leaves_an_upper_limit(world: World) -> None:
    publish(world, "1,Block 0,2026-08-14,leaf,mid,0,10")
    assert "About 0 rust mites in the dish, and at the very best 0 to 73" in tally_text(
        world
    )


def test_a_whole_dish_and_an_uncountable_one_say_so(world: World) -> None:
    publish(world, "1,Block 0,2026-08-14,leaf,mid,12,",
            "2,Block 0,2026-08-14,leaf,mid,uncountable,")  # fmt: skip
    assert "12 rust mites in the whole dish: nothing is expanded" in tally_text(
        world, count=12
    )
    assert "not countable for rust mites" in tally_text(world, count=None)


def test_a_density_leads_to_the_working_of_its_cells(world: World) -> None:
    publish(world, "1,Block 0,2026-08-14,leaf,mid,12,C4 D7 E2")
    from monitoring.densities.store import compute_changed  # noqa: PLC0415 - once
    from monitoring.models import Density  # noqa: PLC0415 - once

    compute_changed(world.group.pk)
    with stating(world.group.pk):
        density, tally = Density.objects.get(), Tally.objects.get()
    page = world.client("grower").get(world.url(f"densities/{density.uuid}/"))
    assert world.url(f"tallies/{tally.uuid}/") in page.content.decode()


def test_a_grower_does_not_find_tallies_of_other_farms(world: World) -> None:
    publish(world, "1,Block 1,2026-08-14,leaf,mid,12,10")
    with stating(world.group.pk):
        tally = Tally.objects.get()
    url = world.url(f"tallies/{tally.uuid}/")
    assert world.client("grower").get(url).status_code == 404
    assert world.client("consultant").get(url).status_code == 200
