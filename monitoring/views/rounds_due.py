"""The pages of what is due: the list, how often rounds are walked, the calendar."""

from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import Member, Role
from blocks.views.doors import for_member
from monitoring.plan_forms import HabitsForm
from monitoring.planning.calendars import token_of
from monitoring.planning.due import in_order
from monitoring.queries import plans as queries
from monitoring.queries.treatments import chosen_block
from monitoring.services import plans as services
from monitoring.views.plans import GET_OR_POST, today_of


@require_safe
@for_member()
def due(request: HttpRequest, member: Member) -> HttpResponse:
    """List each block with its last round and when the next is due."""
    today = today_of(member)
    rows = in_order(queries.rounds_due(member, today=today))
    return render(
        request,
        "monitoring/rounds_due.html",
        {
            "rows": [(row, row.words(today)) for row in rows],
            "habits": queries.habits_of(member.group_id),
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def habits(request: HttpRequest, member: Member) -> HttpResponse:
    """Set how often the group, or one block, is walked."""
    block = chosen_block(member, request.GET.get("block", ""))
    known = queries.habits_of(member.group_id)
    initial: dict[str, Any] = {
        "interval_days": known.by_block.get(block.pk) if block else known.interval_days,
        "minutes_per_bag": known.minutes_per_bag,
    }
    form = HabitsForm(
        request.POST if request.method == "POST" else None,
        of_block=block is not None,
        initial=initial,
    )
    if request.method == "POST" and form.is_valid():
        services.set_habits(
            member,
            block=block,
            interval_days=form.cleaned_data["interval_days"],
            minutes_per_bag=form.cleaned_data.get("minutes_per_bag"),
            now=timezone.now(),
        )
        messages.success(request, "Saved. What is due follows from it.")
        return redirect("rounds-due", member.farm_group.slug)
    return render(
        request,
        "monitoring/round_habits.html",
        {"form": form, "shown_block": block, "habits": known},
        status=form.status,
    )


@require_http_methods(GET_OR_POST)
@for_member()
def calendar(request: HttpRequest, member: Member) -> HttpResponse:
    """Show the member's own calendar address, and make a new one when asked."""
    if request.method == "POST":
        services.make_calendar_address(member, now=timezone.now())
        messages.success(request, "This is your address. An earlier one ends now.")
        return redirect("round-calendar", member.farm_group.slug)
    feed = queries.feed_of(member)
    address = ""
    if feed is not None:
        token = token_of(
            feed, group_slug=member.farm_group.slug, user_id=member.user.pk
        )
        address = settings.SITE_URL + reverse("calendar-feed", args=[token])
    return render(request, "monitoring/round_calendar.html", {"address": address})
