"""Addresses of weather, degree-days, growth stages and the season of a block."""

from django.urls import URLPattern, path

from monitoring.views import season, weather, weather_files

GROUP = "g/<slug:group_slug>/"
FARM = f"{GROUP}farms/<uuid:farm_uuid>/"
UPLOAD = f"{GROUP}weather/uploads/<uuid:upload_uuid>/"

urlpatterns: list[URLPattern] = [
    path(
        f"{GROUP}blocks/<uuid:block_uuid>/season/",
        season.block_season,
        name="block-season",
    ),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/growth-stage/",
        season.growth_stage,
        name="set-growth-stage",
    ),
    path(f"{GROUP}weather/", weather.weather, name="weather"),
    path(f"{FARM}weather/", weather.farm_weather, name="farm-weather"),
    path(f"{FARM}weather/days.csv", weather_files.weather_csv, name="weather-csv"),
    path(f"{FARM}weather/upload/", weather.upload_weather, name="upload-weather"),
    path(f"{FARM}degree-days/", weather.degree_day_rule, name="degree-day-rule"),
    path(
        f"{GROUP}weather/stations/<uuid:station_uuid>/usual/",
        weather.make_station_usual,
        name="make-station-usual",
    ),
    path(UPLOAD, weather.weather_upload, name="weather-upload"),
    path(f"{UPLOAD}answers/", weather.answer_weather, name="answer-weather"),
    path(f"{UPLOAD}publish/", weather.publish_weather, name="publish-weather"),
    path(f"{UPLOAD}discard/", weather.discard_weather, name="discard-weather"),
    path(f"{UPLOAD}original/", weather_files.weather_original, name="weather-original"),
]
