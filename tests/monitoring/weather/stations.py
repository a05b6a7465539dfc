"""One person's way with files of daily weather."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction

from blocks.access import member_for
from blocks.errors import SiteError
from blocks.tenancy import stating
from monitoring.models import WeatherDay, WeatherUpload
from monitoring.services import weather as services
from tests.builders import World

FIRST = date(2020, 4, 1)


def weather_csv(*days: tuple[float, float] | None, first: date = FIRST) -> bytes:
    """Write a row a day; None leaves the day's row out."""
    rows = [
        f"{first + timedelta(days=place)},{day[0]},{day[1]}"
        for place, day in enumerate(days)
        if day is not None
    ]
    return "\n".join(["date,minimum,maximum", *rows, ""]).encode()


@dataclass
class Station:
    """The yard of the world's first farm."""

    world: World
    role: str = "coordinator"
    name: str = "Yard"

    def upload(
        self, content: bytes, *, unit: str = "C", name: str = "weather.csv"
    ) -> WeatherUpload:
        with transaction.atomic():
            member = member_for(self.world.people[self.role], self.world.slug)
            upload, _ = services.receive_weather(
                member,
                services.station_named(self.world.farms[0], self.name),
                file_name=name,
                chunks=[content],
                unit=unit,
            )
        return upload

    def publish(
        self, upload: WeatherUpload, *, without_faulty: bool = False
    ) -> WeatherUpload:
        with transaction.atomic():
            member = member_for(self.world.people[self.role], self.world.slug)
            return services.publish_weather(
                member, upload, without_faulty=without_faulty
            )

    def publish_error(self, upload: WeatherUpload) -> str:
        try:
            self.publish(upload)
        except SiteError as error:
            return error.sentence
        return ""

    def take(self, content: bytes, *, unit: str = "C") -> WeatherUpload:
        return self.publish(self.upload(content, unit=unit))

    def days(self, *, current: bool = True) -> list[WeatherDay]:
        with stating(self.world.group.pk):
            return list(
                WeatherDay.objects.filter(is_current=current).order_by("measured_on")
            )


def codes(upload: WeatherUpload, level: str = "error") -> list[str]:
    return [
        finding["code"]
        for finding in upload.preview.get("findings", [])
        if finding["level"] == level
    ]
