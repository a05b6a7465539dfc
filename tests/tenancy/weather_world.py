"""A farm's weather under the world's canary name: one file published, one read."""

from typing import Any

from django.db import transaction

from blocks.access import member_for
from monitoring.services.weather import (
    publish_weather,
    receive_weather,
    station_named,
)
from tests.builders import World

DAYS = "date,minimum,maximum\n2026-08-{day:02d},11,27\n2026-08-{next:02d},12,28\n"


def give_weather(world: World) -> dict[str, Any]:
    """Measure four days on the world's first farm."""
    farm = world.farms[0]
    with transaction.atomic():
        member = member_for(world.people["coordinator"], world.slug)
        station = station_named(farm, f"{world.group.name} station")
        uploads = []
        for day in (10, 12):
            text = DAYS.format(day=day, next=day + 1)
            upload, _ = receive_weather(
                member,
                station,
                file_name=f"{world.group.name} {day}.csv",
                chunks=[text.encode()],
                unit="C",
            )
            uploads.append(upload)
        publish_weather(member, uploads[0])
    return {"farm": farm, "station": station, "weather_upload": uploads[1]}
