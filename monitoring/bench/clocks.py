"""Say in words how long something is, and what a device's clock is about."""

from typing import Final

MINUTE, HOUR, DAY, YEAR = 60, 3600, 86_400, 365.25 * 86_400
# Nearer than this a clock is right for what is kept of it.
ALLOWED_S: Final = 5 * MINUTE
_UNITS = ((YEAR, "year"), (DAY, "day"), (HOUR, "hour"), (MINUTE, "minute"))


def long_words(seconds: float) -> str:
    """Say a span of time in its largest unit: "2 hours", "1 minute"."""
    for size, name in _UNITS:
        count = round(abs(seconds) / size)
        if count >= 1 and abs(seconds) >= size:
            return f"{count:,} {name}{'' if count == 1 else 's'}"
    return "less than a minute"


def clock_words(ahead_s: float) -> str:
    """Say by how much a device's clock is wrong; nothing where it is near enough."""
    if abs(ahead_s) <= ALLOWED_S:
        return ""
    side = "ahead of" if ahead_s > 0 else "behind"
    return f"{long_words(ahead_s)} {side} the site's"
