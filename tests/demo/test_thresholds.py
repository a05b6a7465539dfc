"""The demo's thresholds: in season when they should be, whatever the day of loading."""

from datetime import date, timedelta

import pytest

from alerts.rules import in_season, season_began
from deploy.demo.almanac import TODAY_DAY, TOURS, VISIT_DAYS, date_of
from deploy.demo.places import BLOCKS
from deploy.demo.thresholds import SEASON_ENDS, THRESHOLDS, DemoThreshold, leaf_level

# Three years of loading days, one of them a leap year.
LOADING_DAYS = [date(2027, 1, 1) + timedelta(days) for days in range(3 * 365 + 1)]


def _window(threshold: DemoThreshold, *, today: date) -> dict[str, str]:
    first, last = (date_of(1, day, today=today) for day in threshold.season_days)
    return {"season_from": f"{first:%m-%d}", "season_until": f"{last:%m-%d}"}


@pytest.mark.parametrize("threshold", THRESHOLDS, ids=lambda one: one.why)
def test_rounds_of_both_years_fall_into_the_season(threshold: DemoThreshold) -> None:
    latest = max(max(days) for days in VISIT_DAYS.values())
    for today in LOADING_DAYS:
        window = _window(threshold, today=today)
        for tour in TOURS:
            if tour.tissue != threshold.tissue:
                continue
            for day in (tour.day, tour.day + latest):
                visited = date_of(tour.season, day, today=today)
                assert in_season(visited, **window)
                # And into that year's, not the one before.
                began = season_began(visited, **window)
                first = date_of(tour.season, threshold.season_days[0], today=today)
                assert abs((began - first).days) <= 2


def test_each_season_is_over_when_it_is_judged_to_be() -> None:
    for today in LOADING_DAYS:
        for season, last_day in SEASON_ENDS:
            judged = date_of(season, last_day + 2, today=today)
            ending = [one for one in THRESHOLDS if one.season_days[1] == last_day]
            assert ending
            for threshold in ending:
                assert not in_season(judged, **_window(threshold, today=today))


def test_now_is_in_the_leaves_season_and_will_be_for_weeks() -> None:
    for today in LOADING_DAYS:
        for threshold in THRESHOLDS:
            window = _window(threshold, today=today)
            now = threshold.season_days[0] <= TODAY_DAY <= threshold.season_days[1]
            assert in_season(today, **window) == now
            assert in_season(today + timedelta(28), **window) == now


def test_nearest_scope_gives_the_level() -> None:
    levels = {
        block.name: leaf_level(farm=block.farm, block=block.name) for block in BLOCKS
    }
    assert levels["Nettle Top"] == 100
    assert levels["Dry Bank"] == 150
    assert levels["Big Terrace"] == levels["Long Bend"] == 200
