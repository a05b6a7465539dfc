"""The page of a block's forecast says a date, or why there is none."""

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.models import Density, Round, Sheet, Treatment
from monitoring.services.settings import set_canopy_weights
from monitoring.services.treatments import Done, record
from tests.desks import bag_row, bag_sheet
from tests.monitoring.forecasts.conftest import FIRST_ON, TODAY, Grown

pytestmark = pytest.mark.django_db
Travel = Callable[[date], time_machine.travel]
# 2 a leaf washed off, a tenth more a day, 85 in 100 of them: 250 on day 47 or so.
DATED = r"Rust mites on leaves reach your 250 about (\d+ July 2026)"


def _treat(grown: Grown, day: int) -> None:
    with transaction.atomic():
        record(
            member_for(grown.world.people["coordinator"], grown.world.slug),
            Done(
                treated_on=FIRST_ON + timedelta(days=day),
                category=Treatment.Category.SULFUR,
                active_ingredient="sulfur",
                treated=[grown.world.block],
            ),
            now=timezone.now(),
        )


def test_growing_numbers_give_a_date_with_its_interval(
    grown: Grown, at: Travel
) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40])
        text = grown.text()
    found = re.search(DATED, text)
    assert found
    told = datetime.strptime(found[1], "%d %B %Y").replace(tzinfo=UTC).date()
    # 250 of 100, where 85 in 100 are washed off of 2 exp(.1 day).
    assert abs((told - date(2026, 7, 18)).days) <= 4
    assert re.search(r"80 in 100: \d+ July to \d+ (July|August) 2026", text)
    assert "They grow by" in text
    assert "doubling in" in text
    assert "what is published of rust mites in the laboratory" in text
    assert "a fortnight after the newest round" in text
    assert "negative binomial, its clumping integrated" in text


def test_the_working_leads_to_rounds_and_counts(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40])
        text = grown.text()
    with stating(grown.world.group.pk):
        rounds = list(Round.objects.filter(farm_group=grown.world.group))
        densities = list(
            Density.objects.filter(
                organism__code="rust_mites", is_current=True, stratum=""
            )
        )
    assert len(rounds) == len(densities) == 5
    for one in rounds:
        assert f"rounds/{one.uuid}/" in text
    for row in densities:
        assert f"densities/{row.uuid}/" in text
    assert "a straight line through the logarithms" in text
    assert "Fieller's limits" in text


def test_the_chart_holds_fan_rounds_threshold_and_crossing(
    grown: Grown, at: Travel
) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40])
        text = grown.text()
    found = re.search(
        r'id="figure-forecast" type="application/json">(.*?)</script>', text
    )
    assert found
    figure: dict[str, Any] = json.loads(found[1])
    names = [trace["name"] for trace in figure["data"]]
    assert names[:3] == [
        "fan, lower end",
        "fan, upper end",
        "path of the mean, 80 in 100",
    ]
    assert names[3:] == ["rust mites, rounds", "crossing, 80 in 100"]
    assert len(figure["data"][3]["x"]) == 5
    assert figure["layout"]["shapes"][0]["y0"] == 250


def test_too_few_rounds_are_said(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([30, 40])
        text = grown.text()
    assert "2 rounds are too few: a date needs 3" in text
    assert "figure-forecast" not in text


def test_a_threshold_far_away_is_beyond_what_can_be_seen(
    grown: Grown, at: Travel
) -> None:
    with at(TODAY):
        grown.threshold(100_000)
        grown.grow([0, 10, 20, 30, 40])
        text = grown.text()
    assert "further than these rounds can see" in text
    assert "less than 1 in 100 that it is above" in text


def test_a_block_above_already_has_no_date(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(20)
        grown.grow([0, 10, 20, 30, 40])
        text = grown.text()
    assert "more likely above your 20 than not" in text


def test_empty_rounds_give_no_date(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(20)
        for day in (10, 20, 30, 40):
            grown.visit(day, 0.0)
        assert "no animal was found in any of the rounds" in grown.text()


def test_an_old_round_forecasts_nothing(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40])
    with at(TODAY + timedelta(days=40)):
        text = grown.text()
    assert "days old. Take bags again." in text


def test_a_date_gone_by_asks_for_a_round(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(130)
        grown.grow([0, 10, 20, 30, 35])
    with at(TODAY + timedelta(days=12)):
        text = grown.text()
    assert "should have reached your 130 by now" in text


def test_rounds_up_to_the_last_treatment_are_left_out(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40])
        _treat(grown, 20)
        text = grown.text()
        assert "Rounds up to the treatment of 21 June 2026 are left out" in text
        assert text.count("left out: up to the last treatment") == 3
        assert "2 rounds are too few" in text
        _treat(grown, 41)
        text = grown.text()
    assert "no round was counted since the treatment of 12 July 2026" in text
    assert text.count("left out: up to the last treatment") == 5


def test_only_this_season_is_looked_at(grown: Grown, at: Travel) -> None:
    last_year = FIRST_ON - timedelta(days=364)
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30, 40], first_on=last_year)
        grown.grow([30, 40])
        text = grown.text()
    assert "2 rounds are too few" in text


def test_without_a_threshold_the_page_says_what_to_do(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.grow([30])
        assert "No threshold for a density holds for this block" in grown.text()
        grown.threshold(250)
        grown.visit(40, 5.0)
        assert "Forecast: how fast numbers grow" in grown.text(
            grown.world.url(f"blocks/{grown.world.block.uuid}/")
        )


def test_a_threshold_without_counts_says_so(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        assert "rust mites were not counted on this block's leaves yet" in grown.text()


@pytest.mark.parametrize(
    "of", ["leaf-thrips", "x" * 300, "<script>", "leaf-rust_mites'"]
)
def test_an_odd_wish_is_answered_in_words(grown: Grown, at: Travel, of: str) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20])
        text = grown.text(of=of)
    assert "This block has no threshold for" in text
    assert "<script>”" not in text.split("<main")[1].split("</h1>")[0]


def test_uncountable_and_waiting_bags_are_told(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20, 30])
        rows = [("dense", "uncountable"), ("late", "")]
        for bag, written in rows:
            grown.desk.publish(_one_bag(grown, bag, written))
        text = grown.text()
    assert "Uncountable bags are left out" in text
    assert "1 bags of these rounds wait" not in text
    assert "1 bag of these rounds waits to be counted." in text


def _one_bag(grown: Grown, bag: str, written: str) -> Sheet:
    day = (FIRST_ON + timedelta(days=30)).isoformat()
    row = bag_row(bag=bag, collected_on=day, washed_on="", rust_mites=written)
    return grown.desk.upload(bag_sheet(row), f"{bag}.csv")


def test_weighted_positions_shift_the_date(grown: Grown, at: Travel) -> None:
    """Upper leaves with more mites but few of the canopy's leaves: later."""
    with at(TODAY):
        grown.threshold(250)
        for day in (0, 10, 20, 30, 40):
            mean = 2.0 * 2.718281828 ** (0.1 * day)
            grown.visit(day, 0.5 * mean, bag="m", position="mid")
            grown.visit(day, 1.5 * mean, bag="u", position="upper")
        pooled = _expected_soon(grown.text())
        with transaction.atomic():
            member = member_for(grown.world.people["coordinator"], grown.world.slug)
            set_canopy_weights(
                member, shares={"mid": 0.9, "upper": 0.1}, valid_from=date(2020, 1, 1)
            )
        weighted = _expected_soon(grown.text())
    # 0.9 of 0.5 and 0.1 of 1.5 make 0.6 of the pooled mean.
    assert weighted / pooled == pytest.approx(0.6, abs=0.08)


def _expected_soon(text: str) -> float:
    found = re.search(
        r"a fortnight after the newest round, about ([\d,]+) per leaf", text
    )
    assert found
    return float(found[1].replace(",", ""))


def test_the_page_takes_few_queries(grown: Grown, at: Travel) -> None:
    with at(TODAY):
        grown.threshold(250)
        grown.grow([0, 10, 20])
        few = _queries(grown)
        grown.grow([30, 40])
        assert _queries(grown) == few
    assert few <= 20


def _queries(grown: Grown) -> int:
    client = grown.world.client("grower")
    with CaptureQueriesContext(connection) as queries:
        client.get(grown.path)
    return len(queries)
