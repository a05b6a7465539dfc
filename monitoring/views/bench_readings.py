"""The pages of what was counted at the bench, and its figures for the bench."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.bench_forms import DecideForm
from monitoring.models import BenchReading
from monitoring.pages.bench_devices import device_lines
from monitoring.pages.bench_figure import bench_figure
from monitoring.pages.bench_reading import reading_page, to_do_page
from monitoring.queries.bench_acts import acts_waiting
from monitoring.queries.bench_photos import photos_awaited
from monitoring.queries.bench_readings import (
    MOST_SHOWN,
    is_beside_another,
    reading_for,
)
from monitoring.services.bench_deciding import (
    Decision,
    decide,
    mark_of,
    refuse_what_moved,
)


@require_safe
@for_member(*COUNTERS)
def to_do(request: HttpRequest, member: Member) -> HttpResponse:
    """List what waits for a person, what is set apart, and what is not all here."""
    return render(
        request,
        "monitoring/bench_todo.html",
        {
            "page": to_do_page(member),
            "devices": device_lines(member),
            "acts": acts_waiting(member),
            "photos_awaited": photos_awaited(member, now=timezone.now()),
            "most": MOST_SHOWN,
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_member(*COUNTERS)
def reading(
    request: HttpRequest, member: Member, *, reading_uuid: UUID
) -> HttpResponse:
    """Show a reading, and decide about it where it waits."""
    found = reading_for(member, reading_uuid)
    form = _form(found, member, request.POST if request.method == "POST" else None)
    if request.method == "POST":
        try:
            refuse_what_moved(found, request.POST.get("seen", ""))
            if form.is_valid():
                decided = decide(member, found, _decision(form))
                state = decided.get_state_display()
                messages.success(request, f"Kept. The reading is {state} now.")
                return redirect("bench-decide", member.farm_group.slug, found.uuid)
        except SiteError as error:
            # Shown as it is now: somebody else may have been first.
            found = reading_for(member, reading_uuid)
            form = _form(found, member, {**request.POST.dict(), "seen": mark_of(found)})
            form.refuse(error)
    return render(
        request,
        "monitoring/bench_reading.html",
        {"reading": found, "page": reading_page(found), "form": form},
        status=form.status,
    )


def _form(
    found: BenchReading, member: Member, posted: Mapping[str, Any] | None
) -> DecideForm:
    return DecideForm(
        posted, reading=found, member=member, choose=is_beside_another(found)
    )


def _decision(form: DecideForm) -> Decision:
    given = form.cleaned_data
    return Decision(
        choice=given["choice"],
        now=timezone.now(),
        seen=given["seen"],
        why=given["why"].strip(),
        bag=given.get("bag"),
        dish=given.get("dish"),
        score_stands=given.get("score_stands", False),
    )


@require_safe
@for_member(*COUNTERS)
def figure(
    request: HttpRequest,
    member: Member,
    *,
    reading_uuid: UUID,
) -> JsonResponse:
    """Give the site's figures of a reading, for the bench."""
    return JsonResponse(bench_figure(reading_for(member, reading_uuid)))
