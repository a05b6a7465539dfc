"""One day of weather as read from a file."""

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadDay:
    """One day as read: both temperatures in C, or neither where it is missing."""

    row: int
    on: date
    minimum_c: float | None
    maximum_c: float | None
    quality: str
