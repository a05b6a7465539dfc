"""Rounds due as an iCalendar, under an address that only its member knows."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from uuid import UUID

from django.core import signing
from icalendar import Calendar, Event

from blocks.models import FarmGroup
from monitoring.models import CalendarFeed, RoundPlan
from monitoring.planning.due import BlockDue
from monitoring.words import several

SALT = "washboard.calendar"


def token_of(feed: CalendarFeed, *, group_slug: str, user_id: int) -> str:
    """Write what an address holds: whose it is and its secret, signed."""
    return signing.dumps([group_slug, user_id, feed.secret.hex], salt=SALT)


def read_token(token: str) -> tuple[str, int, UUID] | None:
    """Read an address: group, person and secret; None if it was not written here."""
    try:
        slug, user_id, secret = signing.loads(token, salt=SALT)
        return str(slug), int(user_id), UUID(secret)
    except (signing.BadSignature, ValueError, TypeError):
        return None


class Links:
    """Where events lead to: the site's own addresses of plans and blocks."""

    def __init__(self, plan: str, block: str) -> None:
        self._plan, self._block = plan, block

    def of_plan(self, plan: RoundPlan) -> str:
        """Give a plan's address."""
        return self._plan.replace(str(UUID(int=0)), str(plan.uuid))

    def of_block(self, row: BlockDue) -> str:
        """Give a block's address."""
        return self._block.replace(str(UUID(int=0)), str(row.block.uuid))


def calendar_of(
    group: FarmGroup, rows: Iterable[BlockDue], *, links: Links, now: datetime
) -> bytes:
    """Write an event for each plan, and one for each block due without a plan.

    UIDs stay as days move: a plan's is its own, that of a day due is the block's.
    Source: RFC 5545; REFRESH-INTERVAL and NAME of RFC 7986.
    """
    calendar = Calendar()
    calendar.add("prodid", "-//Washboard//Rounds due//EN")
    calendar.add("version", "2.0")
    calendar.add("name", f"Rounds due, {group.name}")
    calendar.add("x-wr-calname", f"Rounds due, {group.name}")
    calendar.add("refresh-interval", timedelta(hours=12), {"value": "DURATION"})
    for row in rows:
        for plan in row.plans:
            calendar.add_component(_planned(row, plan, links))
        if not row.plans and row.by_interval is not None:
            calendar.add_component(_by_interval(row, row.by_interval, links, now))
    written: bytes = calendar.to_ical()
    return written


def _planned(row: BlockDue, plan: RoundPlan, links: Links) -> Event:
    what = several(plan.tissue) if plan.tissue == "leaf" else "bags"
    event = _event(
        f"plan-{plan.uuid}",
        plan.planned_on,
        f"Round: {row.block.farm.name}, {row.block.name}: {plan.bags} {what}",
    )
    event.add("description", f"About {plan.bench_minutes:.0f} minutes of the bench.")
    event.add("url", links.of_plan(plan))
    event.add("dtstamp", plan.planned_at)
    return event


def _by_interval(row: BlockDue, due_on: date, links: Links, now: datetime) -> Event:
    event = _event(
        f"due-{row.block.uuid}",
        due_on,
        f"Round due: {row.block.farm.name}, {row.block.name}",
    )
    event.add(
        "description",
        f"{row.interval_days} days after the last round. Nothing is planned yet.",
    )
    event.add("url", links.of_block(row))
    event.add("dtstamp", now)
    return event


def _event(uid: str, on: date, summary: str) -> Event:
    event = Event()
    event.add("uid", f"{uid}@washboard.invalid")
    event.add("summary", summary)
    event.add("dtstart", on)
    event.add("dtend", on + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    return event
