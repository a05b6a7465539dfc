"""The demo's weather: under the same temperatures as its mites, with its faults."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import transaction

from blocks.models import Farm, FarmGroup
from blocks.services.groups import add_farm, add_member, create_farm_group
from blocks.tenancy import stating
from deploy.demo.almanac import LAST_SEASON, THIS_SEASON, TODAY_DAY, date_of
from deploy.demo.people import PEOPLE
from deploy.demo.places import FARM_NAMES
from deploy.demo.season import temperature_c
from deploy.demo.weather import days_of_station, load_weather, weather_files
from monitoring.models import WeatherUpload
from monitoring.pages.weather_page import FarmHeat, farm_heat
from tests.builders import Role, make_user

TODAY = date(2025, 8, 20)


@pytest.fixture
def farms(db: None) -> dict[str, Farm]:
    group = create_farm_group(name="Demo", slug="demo-weather", is_demo=True)
    user = make_user("coordinator")
    user.email = PEOPLE[0].email
    user.save()
    add_member(group, user=user, role=Role.COORDINATOR, farms=None)
    farms = {name: add_farm(group, name=name) for name in FARM_NAMES}
    with transaction.atomic():
        load_weather(group, farms, today=TODAY)
    return farms


def _heat(farm: Farm, on: date) -> FarmHeat:
    with stating(farm.farm_group_id):
        return farm_heat(farm, on=on)


def test_every_file_is_published_without_an_error(farms: dict[str, Farm]) -> None:
    group: FarmGroup = farms["Tolbeck"].farm_group
    with stating(group.pk):
        uploads = list(WeatherUpload.objects.all())
    assert len(uploads) == 2 * len(FARM_NAMES)
    assert {upload.state for upload in uploads} == {"published"}
    assert {upload.preview["errors"] for upload in uploads} == {0}


def test_daily_means_are_those_the_mites_grow_under(farms: dict[str, Farm]) -> None:
    heat = _heat(farms["Cindry"], TODAY)
    rows = {day.measured_on: day for day in heat.days}
    means = temperature_c(THIS_SEASON, "Cindry")
    for number in (100, 150, 200):
        row = rows[date_of(THIS_SEASON, number, today=TODAY)]
        assert row.minimum_deg_c is not None
        assert row.maximum_deg_c is not None
        middle = (row.minimum_deg_c + row.maximum_deg_c) / 2
        assert middle == pytest.approx(means[number - 90], abs=0.2)


def test_sums_are_whole_filled_or_at_least(farms: dict[str, Farm]) -> None:
    yesterday = TODAY - timedelta(days=1)
    whole = _heat(farms["Tolbeck"], TODAY)
    filled = _heat(farms["Hesmoor"], TODAY)
    last = _heat(farms["Hesmoor"], date_of(LAST_SEASON, 300, today=TODAY))
    assert whole.heat is not None
    assert filled.heat is not None
    assert last.heat is not None
    assert whole.heat.last_on == yesterday
    assert (whole.heat.filled, whole.heat.missing) == (0, 0)
    assert (filled.heat.filled, filled.heat.missing) == (3, 0)
    assert (last.heat.filled, last.heat.missing) == (2, 9)
    assert last.heat.is_at_least
    assert filled.heat.qualities["doubtful"] == 2
    # What 228 days of such a year come to; the wave peaks at 21.5 C.
    assert 600 < (whole.heat.total or 0) < 1300


def test_whatever_the_day_of_loading_the_same_weather_comes_out() -> None:
    one = days_of_station(THIS_SEASON, "Hesmoor", today=TODAY)
    other = days_of_station(THIS_SEASON, "Hesmoor", today=date(2031, 2, 1))
    assert [day.high_c for day in one] == [day.high_c for day in other]
    assert len(one) == TODAY_DAY - 1
    highs = np.array([day.high_c or np.nan for day in one])
    assert int(np.isnan(highs).sum()) == 3


def test_farms_have_weather_of_their_own() -> None:
    texts = [text for _, _, text, _ in weather_files(today=TODAY)]
    assert len(set(texts)) == len(texts)
