"""Set the days of a file beside those that stand."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import isclose
from typing import Any

from monitoring.models import WeatherDay, WeatherStation
from monitoring.queries.weather import days_of
from monitoring.weather.days import ReadDay

MOST_CHANGES_TOLD = 50
# What a figure may change by when it goes through Fahrenheit and back.
SAME_C = 1e-6


@dataclass(slots=True)
class Comparison:
    """Which days are new, the same, changed, or missing in the file but known."""

    new: list[ReadDay] = field(default_factory=list)
    same: int = 0
    changed: list[tuple[WeatherDay, ReadDay]] = field(default_factory=list)
    kept: int = 0

    def told(self) -> dict[str, Any]:
        """Write it down for the preview."""
        return {
            "new": len(self.new),
            "same": self.same,
            "changed": len(self.changed),
            "kept": self.kept,
            "changes": [
                {
                    "on": day.on.isoformat(),
                    "before": _words(old.minimum_deg_c, old.maximum_deg_c, old.quality),
                    "after": _words(day.minimum_c, day.maximum_c, day.quality),
                }
                for old, day in self.changed[:MOST_CHANGES_TOLD]
            ],
        }


def compare(station: WeatherStation, days: Sequence[ReadDay]) -> Comparison:
    """Compare a file's days, in order, with the station's; 1 query.

    A day that the file lacks or calls missing never takes the place of a figure.
    """
    found = Comparison()
    if not days:
        return found
    standing = {
        row.measured_on: row
        for row in days_of(station, since=days[0].on, until=days[-1].on)
    }
    for day in days:
        old = standing.get(day.on)
        if old is None:
            found.new.append(day)
        elif _same(old, day):
            found.same += 1
        elif day.quality == WeatherDay.Quality.MISSING:
            found.kept += 1
        else:
            found.changed.append((old, day))
    return found


def _same(old: WeatherDay, day: ReadDay) -> bool:
    if old.quality != day.quality:
        return False
    pairs = (
        (old.minimum_deg_c, day.minimum_c),
        (old.maximum_deg_c, day.maximum_c),
    )
    return all(
        one is other
        or (
            one is not None
            and other is not None
            and isclose(one, other, abs_tol=SAME_C)
        )
        for one, other in pairs
    )


def _words(low: float | None, high: float | None, quality: str) -> str:
    if low is None or high is None:
        return "missing"
    told = f"{low:.1f} to {high:.1f} °C"
    return told if quality == "measured" else f"{told}, {quality}"
