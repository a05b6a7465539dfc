"""The pages of weather: what a person reads, uploads, and who may."""

import csv
import json
import re
from datetime import date, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.models import DegreeDayRule, WeatherDay, WeatherStation, WeatherUpload
from monitoring.weather.winkler import winkler_season
from tests.builders import World
from tests.monitoring.weather.stations import FIRST, Station, weather_csv

pytestmark = pytest.mark.django_db
WARM = (10.0, 20.0)
RULE = {
    "starts_on": "2020-04-01",
    "method": "single_sine",
    "lower_deg_c": "10.51",
    "upper_deg_c": "39.19",
    "cutoff": "horizontal",
    "reason": "a test",
}


def _url(world: World, name: str, **kwargs: Any) -> str:
    return reverse(name, kwargs={"group_slug": world.slug, **kwargs})


def _farm_url(world: World, name: str = "farm-weather") -> str:
    return _url(world, name, farm_uuid=world.farms[0].uuid)


def _text(world: World, url: str, role: str = "consultant", **query: str) -> str:
    answer = world.client(role).get(url, query or None)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def _send(world: World, content: bytes, *, role: str = "grower", **fields: str) -> Any:
    file = SimpleUploadedFile("yard.csv", content, content_type="text/csv")
    given = {"file": file, "unit": "C", "station": "Yard"} | fields
    return world.client(role).post(
        _farm_url(world, "upload-weather"),
        {name: value for name, value in given.items() if value},
    )


def test_a_grower_uploads_looks_and_publishes(world: World) -> None:
    answer = _send(world, weather_csv(WARM, WARM, WARM))
    assert answer.status_code == 302
    page = _text(world, answer["Location"], "grower")
    assert "3 days from 2020-04-01 to 2020-04-03 for the station Yard: 3 new" in page
    assert "It is ready." in page
    with stating(world.group.pk):
        assert not WeatherDay.objects.exists()
        upload = WeatherUpload.objects.get()
    url = _url(world, "publish-weather", upload_uuid=upload.uuid)
    done = world.client("grower").post(url, follow=True)
    assert "degree-days follow it" in done.content.decode()
    with stating(world.group.pk):
        assert WeatherDay.objects.count() == 3


def test_a_grower_does_not_reach_other_farms(world: World) -> None:
    for name in ("farm-weather", "upload-weather", "degree-day-rule", "weather-csv"):
        url = _url(world, name, farm_uuid=world.farms[1].uuid)
        assert world.client("grower").get(url).status_code == 404, name
    page = _text(world, _url(world, "weather"), "grower")
    assert world.farms[0].name in page
    assert world.farms[1].name not in page


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"unit": ""}, "Say whether the file has degrees Celsius or Fahrenheit."),
        ({"unit": "K"}, "Select a valid choice"),
        ({"station": ""}, "This field is required."),
        ({"station": "x" * 61}, "at most 60 characters"),
        ({"station": "a\x00b"}, "Null characters are not allowed."),
    ],
)
def test_what_the_form_lacks_is_said_beside_the_field(
    world: World, fields: dict[str, str], sentence: str
) -> None:
    answer = _send(world, weather_csv(WARM), **fields)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    with stating(world.group.pk):
        assert not WeatherStation.objects.exists()


def test_no_file_and_a_file_too_large_are_sent_back(world: World) -> None:
    url = _farm_url(world, "upload-weather")
    answer = world.client("lab").post(url, {"unit": "C", "station": "Yard"})
    assert "Choose a file first." in answer.content.decode()
    answer = _send(world, b"x" * (5 * 1024 * 1024 + 1))
    assert answer.status_code == 422
    assert "larger than 5 MB" in answer.content.decode()


def test_a_refused_file_is_kept_and_can_be_had_again(world: World) -> None:
    answer = _send(world, b"words,more\n1,2\n")
    page = _text(world, answer["Location"], "grower")
    assert "No row within the first 20 has headings" in page
    with stating(world.group.pk):
        upload = WeatherUpload.objects.get()
    original = _url(world, "weather-original", upload_uuid=upload.uuid)
    assert world.client("lab").get(original).content == b"words,more\n1,2\n"
    publish = _url(world, "publish-weather", upload_uuid=upload.uuid)
    assert world.client("lab").post(publish).status_code == 409


def test_the_same_file_again_says_so(station: Station) -> None:
    station.take(weather_csv(WARM))
    client = station.world.client("lab")
    file = SimpleUploadedFile("yard.csv", weather_csv(WARM))
    answer = client.post(
        _farm_url(station.world, "upload-weather"),
        {"file": file, "unit": "C", "station": "yard"},
        follow=True,
    )
    page = answer.content.decode()
    assert "nothing was changed by sending it again" in " ".join(page.split())


def test_rows_in_error_are_listed_and_can_be_left_out(station: Station) -> None:
    world = station.world
    upload = station.upload(b"date,min,max\n2020-04-01,9,3\n2020-04-02,9,13\n")
    page = _text(
        world, _url(world, "weather-upload", upload_uuid=upload.uuid), "coordinator"
    )
    assert "is above the maximum, 3.0 °C" in page
    assert "Publish without the rows in error" in page
    url = _url(world, "publish-weather", upload_uuid=upload.uuid)
    refused = world.client("coordinator").post(url)
    assert refused.status_code == 409
    world.client("coordinator").post(url, {"without": "faulty"})
    assert len(station.days()) == 1


def test_a_question_is_answered_on_the_page(station: Station) -> None:
    world = station.world
    upload = station.upload(b"date,min,max\n03/04/2020,1,9\n")
    url = _url(world, "answer-weather", upload_uuid=upload.uuid)
    page = world.client("grower").post(
        url, {"answer-slash_dates": "day_first"}, follow=True
    )
    assert "from 2020-04-03 to 2020-04-03" in page.content.decode()


def test_the_farms_page_says_the_sum_what_is_filled_and_what_is_missing(
    station: Station,
) -> None:
    world = station.world
    station.take(weather_csv(WARM, None, WARM, *[None] * 5, WARM))
    page = _text(world, _farm_url(world), on="2020-04-20")
    assert "At least 1" in page
    assert "degree-days from 1 January 2020 to 9 April 2020 (single sine, above" in page
    assert "10.51 °C, horizontal cut-off at 39.19 °C)" in page
    assert "2 April 2020 (1 day)" in page
    assert "4 to 8 April 2020 (5 days)" in page
    assert "1 January 2020 to 31 March 2020 (91 days)" in page
    found = re.search(r'<script id="weather-figure"[^>]*>(.*?)</script>', page)
    assert found is not None
    figure = json.loads(found[1])
    assert [trace["name"] for trace in figure["data"]] == [
        "highest", "lowest", "filled", "degree-days"
    ]  # fmt: skip
    assert len(figure["layout"]["shapes"]) == 96


def test_without_weather_the_page_says_what_to_do(world: World) -> None:
    page = _text(world, _farm_url(world), "coordinator")
    assert "No weather was uploaded for this farm" in page
    assert "Upload a file of daily weather" in page
    assert "weather-figure" not in page
    nothing = world.client("grower").get(_farm_url(world, "weather-csv"))
    assert nothing.content.decode().count("\n") == 1


@pytest.mark.parametrize(
    "on", ["", "yesterday", "2020-02-31", "9999-01-01", "0001-01-01"]
)
def test_an_odd_day_in_the_address_shows_today(station: Station, on: str) -> None:
    station.take(weather_csv(WARM, first=timezone.localdate() - timedelta(days=2)))
    page = _text(station.world, _farm_url(station.world), on=on)
    assert f'value="{timezone.localdate():%Y-%m-%d}"' in page


def test_every_row_of_the_download_says_how_it_was_made(station: Station) -> None:
    world = station.world
    station.take(weather_csv(WARM, WARM))
    url = _farm_url(world, "weather-csv")
    answer = world.client("consultant").get(url, {"on": "2020-04-30"})
    rows = list(csv.DictReader(StringIO(answer.content.decode())))
    assert len(rows) == (date(2020, 4, 2) - date(2020, 1, 1)).days + 1
    last = rows[-1]
    assert (last["quality"], last["at_least"], last["method"]) == (
        "measured", "yes", "single_sine"
    )  # fmt: skip
    assert (last["lower_deg_c"], last["upper_deg_c"]) == ("10.51", "39.19")
    assert float(last["cumulative_c_days"]) == pytest.approx(
        2 * float(last["degree_days_c_days"]), abs=1e-3
    )
    assert (rows[0]["quality"], rows[0]["degree_days_c_days"]) == ("missing", "")


def test_the_rule_is_stated_with_a_reason_and_its_history_is_shown(
    station: Station,
) -> None:
    world = station.world
    station.take(weather_csv(WARM, WARM))
    url = _farm_url(world, "degree-day-rule")
    assert world.client("grower").post(url, RULE).status_code == 302
    page = _text(world, _farm_url(world), on="2020-04-20")
    assert "degree-days from 1 April 2020 to 2 April 2020" in page
    assert "a test" in page
    with stating(world.group.pk):
        assert DegreeDayRule.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"upper_deg_c": "9"}, "is not above the lower threshold"),
        ({"method": "average", "cutoff": "vertical"}, "horizontal cut-off only"),
        ({"method": "cosine"}, "Select a valid choice"),
        ({"starts_on": "2190-01-01"}, "is still to come"),
        ({"starts_on": "spring"}, "Enter a valid date"),
        ({"lower_deg_c": "warm"}, "Enter a number"),
        ({"lower_deg_c": "nan"}, "Enter a number"),
        ({"lower_deg_c": "90"}, "less than or equal to 40"),
        ({"reason": ""}, "This field is required"),
    ],
)
def test_a_rule_that_cannot_be_is_sent_back(
    world: World, changed: dict[str, str], sentence: str
) -> None:
    url = _farm_url(world, "degree-day-rule")
    answer = world.client("coordinator").post(url, RULE | changed)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    with stating(world.group.pk):
        assert not DegreeDayRule.objects.exists()


def test_another_station_is_made_the_usual_one(station: Station) -> None:
    world = station.world
    station.take(weather_csv(WARM))
    other = Station(world, name="Hill")
    other.take(weather_csv((1.0, 12.0), first=FIRST))
    with stating(world.group.pk):
        hill = WeatherStation.objects.get(name="Hill")
    url = _url(world, "make-station-usual", station_uuid=hill.uuid)
    page = world.client("grower").post(url, follow=True).content.decode()
    assert "Degree-days are now summed from Hill." in page
    with stating(world.group.pk):
        usual = WeatherStation.objects.filter(is_usual=True)
        assert [one.name for one in usual] == ["Hill"]


def test_the_list_says_how_far_each_farms_weather_reaches(station: Station) -> None:
    world = station.world
    station.take(weather_csv(WARM, WARM, None, WARM))
    page = _text(world, _url(world, "weather"))
    assert "<td>3</td>" in page
    assert "1 Apr 2020" in page
    assert "4 Apr 2020" in page
    assert "none yet" in page


@pytest.mark.parametrize(
    ("name", "most"), [("weather", 9), ("farm-weather", 17), ("weather-csv", 12)]
)
def test_pages_take_few_queries(
    station: Station,
    name: str,
    most: int,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    world = station.world
    for number in range(3):
        station.take(weather_csv(WARM, (1, 9 + number)))
    url = _url(world, name) if name == "weather" else _farm_url(world, name)
    client = world.client("coordinator")
    with django_assert_max_num_queries(most):
        assert client.get(url).status_code == 200


def test_a_correction_is_shown_with_what_stood_before(station: Station) -> None:
    world = station.world
    station.take(weather_csv(WARM))
    assert "Days that were corrected" not in _text(world, _farm_url(world))
    station.take(weather_csv((10.0, 24.0)))
    page = _text(world, _farm_url(world))
    assert "<td>10.0 to 20.0, measured</td><td>10.0 to 24.0, measured</td>" in page
    assert "weather.csv, row 2, Coordinator" in page


def test_a_file_is_put_aside(station: Station) -> None:
    world = station.world
    upload = station.upload(weather_csv(WARM))
    url = _url(world, "discard-weather", upload_uuid=upload.uuid)
    assert world.client("grower").post(url).status_code == 302
    page = _text(world, _url(world, "weather-upload", upload_uuid=upload.uuid), "lab")
    assert "Put aside; nothing of it counts." in page
    assert world.client("grower").post(url).status_code == 409


def test_the_winkler_sum_needs_every_day_of_the_season(station: Station) -> None:
    world = station.world
    station.take(weather_csv(*[(8.0, 24.0)] * 213))
    page = _text(world, _farm_url(world), on="2020-12-01")
    assert "none yet, 213 of 214 days have temperatures" in page
    station.take(weather_csv(*[(8.0, 24.0)] * 214))
    page = _text(world, _farm_url(world), on="2020-12-01")
    assert "1 April 2020 to 31 October 2020: 1,284 degree-days above 10 °C" in page
    assert "region Ib" in page
    assert "1 April 2020 to 31" in _text(world, _farm_url(world), on="2021-03-31")


def test_growing_seasons_of_both_hemispheres() -> None:
    assert winkler_season(date(2020, 8, 1), south=True) == (
        date(2019, 10, 1), date(2020, 4, 30)
    )  # fmt: skip
    assert winkler_season(date(2020, 10, 1), south=True)[0] == date(2020, 10, 1)
    assert winkler_season(date(2020, 3, 1), south=False)[1] == date(2019, 10, 31)
