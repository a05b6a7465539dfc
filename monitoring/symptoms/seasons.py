"""Split days into seasons: winters lie between."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

# Rounds further apart belong to two seasons (figures/season.py has the same).
BETWEEN_SEASONS = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class SeasonSpan:
    """The first and last day of a season's rounds."""

    first: date
    last: date

    @property
    def name(self) -> str:
        """The year, or both: “2026” or “2025/26”."""
        if self.first.year == self.last.year:
            return str(self.first.year)
        return f"{self.first.year}/{self.last.year % 100:02d}"

    @property
    def key(self) -> str:
        """How addresses name it: its first day."""
        return self.first.isoformat()


def seasons_of(days: Iterable[date]) -> list[SeasonSpan]:
    """Give the seasons of days with rounds, newest first."""
    spans: list[SeasonSpan] = []
    for day in sorted(set(days)):
        if spans and day - spans[-1].last <= BETWEEN_SEASONS:
            spans[-1] = SeasonSpan(spans[-1].first, day)
        else:
            spans.append(SeasonSpan(day, day))
    return spans[::-1]
