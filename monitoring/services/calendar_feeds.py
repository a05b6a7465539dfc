"""Open a member's calendar by its address alone, as calendar programs do."""

from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.http import Http404
from django.urls import reverse

from blocks.access import member_for
from blocks.models import User
from monitoring.planning.calendars import Links, calendar_of
from monitoring.queries.plans import feed_of, rounds_due

NOBODY = UUID(int=0)


def feed_for(
    group_slug: str, user_id: int, secret: UUID, *, now: datetime
) -> bytes | None:
    """Write the calendar of the address's member; None where the address has ended.

    It ends with the membership, with the person's account, and with a newer address.
    """
    user = User.objects.filter(pk=user_id, is_active=True).first()
    if user is None:
        return None
    with transaction.atomic():
        try:
            member = member_for(user, group_slug)
        except Http404:
            return None
        feed = feed_of(member)
        if feed is None or feed.secret != secret:
            return None
        today = now.astimezone(member.farm_group.zone).date()
        links = Links(
            plan=settings.SITE_URL + reverse("plan", args=[group_slug, NOBODY]),
            block=settings.SITE_URL + reverse("block", args=[group_slug, NOBODY]),
        )
        rows = rounds_due(member, today=today)
        return calendar_of(member.farm_group, rows, links=links, now=now)
