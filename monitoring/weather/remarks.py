"""Say what is doubtful about days that were read: gaps, stuck instruments, signs."""

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby, pairwise

from monitoring.sheets.findings import Finding
from monitoring.weather.days import ReadDay

A_DAY = timedelta(days=1)
# The same figures for so many days on end: an instrument that stands still.
STUCK_DAYS = 5
# Air beyond these is rare where vines grow (chosen, not measured): ask, do not refuse.
RARE_COLD_C, RARE_HEAT_C = -30.0, 48.0
MOST_TOLD = 20


def remarks_on(days: Sequence[ReadDay], *, commas: int, today: date) -> list[Finding]:
    """Give warnings about days in their order."""
    found = [*_gaps(days), *_stuck(days), *_rare(days)]
    if commas:
        found.append(
            Finding(
                "warning",
                "decimal-commas",
                f"In {commas} rows a comma was read as the decimal sign.",
            )
        )
    if days and days[-1].on == today:
        found.append(
            Finding(
                "warning",
                "today",
                "The last row is of today, which is not over yet. Send it again later.",
                days[-1].row,
            )
        )
    return found


def spell(first: date, last: date) -> str:
    """Write a span of days: “3 to 9 April 2026 (7 days)”."""
    number = (last - first).days + 1
    if number == 1:
        return f"{first.day} {first:%B %Y} (1 day)"
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day} to {last.day} {last:%B %Y} ({number} days)"
    return f"{first.day} {first:%B %Y} to {last.day} {last:%B %Y} ({number:,} days)"


def _gaps(days: Sequence[ReadDay]) -> Iterator[Finding]:
    gaps = [
        (before.on + A_DAY, after.on - A_DAY, after.row)
        for before, after in pairwise(days)
        if after.on - before.on > A_DAY
    ]
    for first, last, row in gaps[:MOST_TOLD]:
        sentence = f"No row to be used for {spell(first, last)}: missing days."
        yield Finding("warning", "gap", sentence, row)
    if len(gaps) > MOST_TOLD:
        sentence = f"And {len(gaps) - MOST_TOLD} more gaps."
        yield Finding("warning", "more-gaps", sentence)


def _stuck(days: Sequence[ReadDay]) -> Iterator[Finding]:
    there = [day for day in days if day.minimum_c is not None]
    for (low, high), run in groupby(
        there, key=lambda day: (day.minimum_c, day.maximum_c)
    ):
        same = list(run)
        if len(same) >= STUCK_DAYS:
            yield Finding(
                "warning",
                "stuck",
                f"The same {low:.1f} and {high:.1f} °C stand on {len(same)} days on end"
                f" from {same[0].on:%Y-%m-%d}. Did the instrument stand still? Mark"
                " such days doubtful in the file.",
                same[0].row,
            )


def _rare(days: Sequence[ReadDay]) -> Iterator[Finding]:
    rare = [
        day
        for day in days
        if day.minimum_c is not None
        and day.maximum_c is not None
        and (day.minimum_c < RARE_COLD_C or day.maximum_c > RARE_HEAT_C)
    ]
    for day in rare[:MOST_TOLD]:
        yield Finding(
            "warning",
            "rare",
            f"{day.minimum_c:.1f} to {day.maximum_c:.1f} °C is rare where vines grow."
            " Is it right?",
            day.row,
        )
