"""Days supersede, the same file changes nothing, and sums follow what stands."""

from datetime import date

import pytest
from django.db import IntegrityError, transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.models import WeatherDay
from monitoring.pages.weather_page import farm_heat
from monitoring.queries.weather import rule_in_force
from monitoring.services.weather import StatedRule, discard_weather, state_rule
from tests.builders import World, add_block
from tests.monitoring.weather.stations import FIRST, Station, weather_csv

pytestmark = pytest.mark.django_db


def test_a_day_knows_its_file_row_person_and_quality(station: Station) -> None:
    upload = station.take(b"date,min,max,flag\n2020-04-01,4,16,estimated\n")
    (day,) = station.days()
    assert day.source_upload_id == upload.pk
    assert (day.source_row, day.quality) == (2, "estimated")
    assert day.created_by_id == station.world.people["coordinator"].pk


def test_the_same_file_twice_changes_nothing(station: Station) -> None:
    first = station.take(weather_csv((4, 16), (5, 17)))
    again = station.upload(weather_csv((4, 16), (5, 17)))
    assert again.pk == first.pk
    other = station.upload(weather_csv((4, 16), (5, 17)) + b"\n")
    assert (other.preview["new"], other.preview["same"]) == (0, 2)
    station.publish(other)
    assert len(station.days()) == 2
    assert station.days(current=False) == []


def test_a_correction_supersedes_and_what_stood_is_kept(station: Station) -> None:
    station.take(weather_csv((4, 16), (5, 17)))
    upload = station.upload(weather_csv((4, 16), (5, 21), (6, 18)))
    assert upload.preview["changes"] == [
        {"on": "2020-04-02", "before": "5.0 to 17.0 °C", "after": "5.0 to 21.0 °C"}
    ]
    station.publish(upload)
    assert [day.maximum_deg_c for day in station.days()] == [16, 21, 18]
    (old,) = station.days(current=False)
    assert old.maximum_deg_c == 17
    assert station.days()[1].supersedes_id == old.pk


def test_missing_never_takes_the_place_of_a_figure(station: Station) -> None:
    station.take(weather_csv((4, 16)))
    upload = station.take(b"date,min,max\n2020-04-01,,\n2020-04-02,5,15\n")
    assert upload.preview["kept"] == 1
    assert [day.quality for day in station.days()] == ["measured", "measured"]


def test_what_is_over_is_not_published_again(station: Station) -> None:
    upload = station.take(weather_csv((4, 16)))
    assert "published" in station.publish_error(upload)
    aside = station.upload(weather_csv((4, 18)))
    with stating(station.world.group.pk):
        discard_weather(aside)
    assert "put aside" in station.publish_error(aside)
    assert [day.maximum_deg_c for day in station.days()] == [16]


def test_the_file_published_is_the_one_that_stands_there(station: Station) -> None:
    """What was shown is read again before it is written."""
    first, second = (station.upload(weather_csv((4, high))) for high in (16, 19))
    station.publish(second)
    station.publish(first)
    assert [day.maximum_deg_c for day in station.days()] == [16]
    assert [day.maximum_deg_c for day in station.days(current=False)] == [19]


@pytest.mark.parametrize(
    "wrong",
    [
        {"minimum_deg_c": 9, "maximum_deg_c": 3},
        {"minimum_deg_c": None, "maximum_deg_c": 3},
        {"minimum_deg_c": 1, "maximum_deg_c": 75},
        {"minimum_deg_c": 1, "maximum_deg_c": 3, "quality": "missing"},
        {"minimum_deg_c": 1, "maximum_deg_c": 3, "quality": "fine"},
        {"minimum_deg_c": 1, "maximum_deg_c": 3, "measured_on": FIRST},
    ],
)
def test_the_database_refuses_days_that_cannot_be(
    station: Station, wrong: dict[str, object]
) -> None:
    upload = station.take(weather_csv((4, 16)))
    row = {"measured_on": date(2020, 5, 1), "quality": "measured"} | wrong
    with (
        pytest.raises(IntegrityError),
        stating(station.world.group.pk),
        transaction.atomic(),
    ):
        WeatherDay.objects.create(
            farm_group=station.world.group,
            station_id=upload.station_id,
            source_upload=upload,
            source_row=2,
            **row,
        )


def _rule(world: World, starts_on: date, **other: object) -> None:
    stated = {
        "starts_on": starts_on,
        "method": "average",
        "cutoff": "horizontal",
        "lower_deg_c": 10.0,
        "upper_deg_c": None,
        "reason": "a test",
    } | other
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        state_rule(member, world.farms[0], StatedRule(**stated))  # type: ignore[arg-type]


def test_sums_follow_the_rule_and_say_what_is_missing(station: Station) -> None:
    world = station.world
    station.take(weather_csv((10, 20), (10, 20), None, (10, 20), *[None] * 4, (10, 20)))
    _rule(world, FIRST)
    with stating(world.group.pk):
        heat = farm_heat(world.farms[0], on=date(2020, 6, 1))
    assert heat.heat is not None
    assert heat.heat.total == pytest.approx(25)
    assert heat.heat.is_at_least
    assert (heat.heat.filled, heat.heat.missing) == (1, 4)
    assert heat.sentence == (
        "At least 25 degree-days from 1 April 2020 to 9 April 2020 (average of minimum"
        " and maximum, above 10 °C)."
    )
    assert heat.heat.gaps == ["5 to 8 April 2020 (4 days)"]
    assert heat.heat.on(date(2020, 4, 4)) == (20.0, False)
    assert heat.heat.on(date(2021, 1, 1)) is None


def test_an_intermediate_cut_off_gives_no_sum_over_a_long_gap(
    station: Station,
) -> None:
    world = station.world
    station.take(weather_csv((10, 20), *[None] * 5, (10, 20)))
    _rule(world, FIRST, method="single_sine", cutoff="intermediate", upper_deg_c=30.0)
    with stating(world.group.pk):
        heat = farm_heat(world.farms[0], on=date(2020, 6, 1))
    assert heat.heat is not None
    assert heat.heat.total is None
    assert heat.sentence.startswith("No sum can be given since 1 April 2020: 5 days")


def test_a_rule_holds_from_its_start_and_comes_again_each_year(world: World) -> None:
    _rule(world, date(2020, 3, 1), lower_deg_c=8.0)
    _rule(world, date(2022, 2, 15), lower_deg_c=9.0)
    with stating(world.group.pk):
        farm = world.farms[0]
        found = {
            on: rule_in_force(farm, on)
            for on in (
                date(2019, 8, 1),
                date(2020, 8, 1),
                date(2021, 2, 1),
                date(2022, 8, 1),
                date(2024, 1, 31),
            )
        }
    assert [(one.starts_on, one.lower_deg_c) for one in found.values()] == [
        (date(2019, 1, 1), 10.51),
        (date(2020, 3, 1), 8),
        (date(2020, 3, 1), 8),
        (date(2022, 2, 15), 9),
        (date(2023, 2, 15), 9),
    ]
    assert [one.is_default for one in found.values()] == [True] + [False] * 4


def test_a_leap_day_comes_again_as_the_last_of_february(world: World) -> None:
    _rule(world, date(2020, 2, 29))
    with stating(world.group.pk):
        found = rule_in_force(world.farms[0], date(2021, 5, 1))
    assert found.starts_on == date(2021, 2, 28)


def test_sums_begin_in_mid_year_south_of_the_equator(world: World) -> None:
    with stating(world.group.pk):
        world.blocks[0].boundaries.all().delete()
    add_block(world.farms[0], "Southern", west=20.0, south=-34.0)
    with stating(world.group.pk):
        found = rule_in_force(world.farms[0], date(2021, 2, 1))
    assert found.starts_on == date(2020, 7, 1)


def test_a_second_station_counts_only_when_it_is_made_the_usual(
    station: Station,
) -> None:
    station.take(weather_csv((4, 16)))
    Station(station.world, name="Hill").take(weather_csv((1, 12)))
    with stating(station.world.group.pk):
        heat = farm_heat(station.world.farms[0], on=date(2020, 6, 1))
    assert heat.station is not None
    assert heat.station.name == "Yard"
    assert [one.name for one in heat.stations] == ["Yard", "Hill"]
