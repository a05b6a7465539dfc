"""How well forecasts hold: the table that came with the site, and the group's own."""

import json
from collections.abc import Callable
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.management import CommandError, call_command

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.estimation.forecast import FORECAST_VERSION
from monitoring.forecasts.series import Subject, read_series
from monitoring.forecasts.simulated import STORED, stored_backtest
from monitoring.models import Organism
from monitoring.pages.backtest_page import own_backtest
from tests.monitoring.forecasts.conftest import FIRST_ON, TODAY, Grown

Travel = Callable[[date], time_machine.travel]


@pytest.fixture
def path(grown: Grown) -> str:
    return grown.world.url("forecasts/")


def test_the_table_that_came_with_the_site_is_of_this_version() -> None:
    stored = stored_backtest()
    assert stored.is_of_this_version
    assert stored.seasons >= 1000
    (all_dates, *_) = stored.table.coverage
    assert 0.75 <= all_dates.held <= 0.88


def test_the_command_prints_and_keeps_the_table(tmp_path: Path) -> None:
    into = tmp_path / "table.json"
    told = StringIO()
    call_command("backtest_forecast", seasons=12, seed=4, into=into, stdout=told)
    kept = json.loads(into.read_text())
    assert (kept["seasons"], kept["seed"]) == (12, 4)
    assert kept["version"] == FORECAST_VERSION
    assert "all forecasts with a date" in told.getvalue()
    again = tmp_path / "again.json"
    call_command("backtest_forecast", seasons=12, seed=4, into=again, stdout=told)
    assert again.read_text() == into.read_text()


def test_only_printing_keeps_nothing(tmp_path: Path) -> None:
    into = tmp_path / "table.json"
    call_command(
        "backtest_forecast", seasons=2, only_print=True, into=into, stdout=StringIO()
    )
    assert not into.exists()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"seasons": 0}, "--seasons must be 1 or more"),
        ({"seasons": 2, "seed": -1}, "--seed must be 0 or more"),
        ({"seasons": 2, "into": STORED.parent}, "cannot be written"),
    ],
)
def test_the_command_refuses_in_words(options: dict[str, object], words: str) -> None:
    with pytest.raises(CommandError, match=words):
        call_command("backtest_forecast", stdout=StringIO(), **options)


@pytest.mark.django_db
def test_the_page_shows_the_simulated_table(grown: Grown, path: str) -> None:
    text = grown.text(path)
    (all_dates, *_) = stored_backtest().table.coverage
    assert f"{100 * all_dates.held:.1f}".removesuffix(".0") in text
    assert f"seed {stored_backtest().seed}" in text
    assert "manage.py backtest_forecast" in text
    assert "No season of your blocks has rounds enough" in text


@pytest.mark.django_db
def test_own_forecasts_are_set_against_what_later_rounds_saw(
    grown: Grown, at: Travel, path: str
) -> None:
    with at(TODAY):
        grown.threshold(130)
        grown.grow([0, 10, 20, 30, 42])
        member = member_for(grown.world.people["consultant"], grown.world.slug)
        own = own_backtest(member, today=TODAY)
        text = grown.text(path)
    # Rounds on days 20 and 30 have three rounds and are before the crossing.
    assert own.summary.forecasts == 2
    assert own.summary.judged == len(own.lines) == own.summary.held
    assert own.lines
    crossed = own.lines[0].forecast.crossed_on
    assert crossed is not None
    # 130 of 85 in 100: 2.35 exp(.1 day) is 130 on day 40.
    assert abs((crossed - FIRST_ON).days - 40) <= 3
    assert "of their intervals held (100 in 100; 80 are meant to)" in text
    assert grown.world.block.name in text


@pytest.mark.django_db
def test_a_member_sees_forecasts_of_own_farms_only(
    grown: Grown, at: Travel, path: str
) -> None:
    with at(TODAY):
        grown.threshold(130)
        grown.world.blocks.reverse()
        grown.grow([0, 10, 20, 30, 42], block=grown.world.block.name)
        seen = grown.text(path, "consultant")
        hidden = grown.text(path, "grower")
    assert grown.world.block.name in seen
    assert grown.world.block.name not in hidden


@pytest.mark.django_db
def test_seasons_are_told_apart_and_treatments_known(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(130)
        grown.grow([0, 10], first_on=FIRST_ON - timedelta(days=364))
        grown.grow([0, 10, 20])
        with stating(grown.world.group.pk):
            mites = Organism.objects.get(code="rust_mites")
            subject = Subject(grown.world.block.pk, "leaf", mites.pk)
            found = read_series(
                grown.world.group.pk, [grown.world.block.pk], {subject}
            )[subject]
    assert [len(season) for season in found.seasons()] == [2, 3]
    assert found.treated_on == []
