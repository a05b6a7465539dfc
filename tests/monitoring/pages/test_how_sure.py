"""The page of measured coverage shows the stored table, whole."""

import pytest

from monitoring.coverage.stored import stored_table
from monitoring.pages.coverage_page import EXPLAINED, coverage_page
from tests.builders import World

pytestmark = pytest.mark.django_db


def test_every_world_stands_under_one_heading() -> None:
    page = coverage_page()
    table = stored_table()
    assert sum(len(one.lines) for one in page.families) == len(table.lines)
    assert {line.regime.family for line in table.lines} == set(EXPLAINED)


def test_summaries_are_those_of_the_lines() -> None:
    family = coverage_page().families[0]
    averaged = family.methods[2]
    found = [shown.line.methods["averaged"] for shown in family.lines]
    assert averaged.lowest == pytest.approx(100 * min(one.coverage for one in found))
    assert averaged.certainly_below == 0
    assert averaged.widest is not None
    assert averaged.widest <= 1.5
    plain = family.methods[1]
    assert plain.relative_width == plain.widest == 1


@pytest.mark.parametrize("role", ["grower", "consultant", "lab", "coordinator"])
def test_every_role_reads_seed_date_and_table(world: World, role: str) -> None:
    answer = world.client(role).get(f"/g/{world.group.slug}/how-sure/")
    text = answer.content.decode()
    table = stored_table()
    assert f"seed {table.seed}" in text
    assert f"{table.made_on:%-d %B %Y}" in text
    assert text.count("<tr>") > len(table.lines)
    assert "methods have changed" not in text
