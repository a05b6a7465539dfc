"""The pages of training: reference dishes, one's own record, everybody's."""

import secrets
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member, Role
from blocks.errors import SiteError
from blocks.models import User
from blocks.views.doors import for_member
from monitoring.models import ReferenceDish, ReferenceReading
from monitoring.pages.reference_page import reference_page
from monitoring.pages.training_page import record_of, shown_references, team_of
from monitoring.queries import training as queries
from monitoring.queries.counters import standard_on
from monitoring.queries.laboratory import laboratory_of
from monitoring.services import training as services
from monitoring.training_forms import (
    CountsForm,
    NewReferenceForm,
    SeniorForm,
    WithdrawReferenceForm,
)

GET_OR_POST = ["GET", "HEAD", "POST"]
SEEDS = 2**62


def _record(member: Member, person: User, readings: list[ReferenceReading]) -> Any:
    day = timezone.localdate(timezone=member.farm_group.zone)
    return record_of(
        person=person,
        readings=readings,
        recounts=queries.recounted_by(member, person),
        senior=queries.senior_of(member.farm_group),
        standard=standard_on(member.farm_group, day),
        for_another=person.pk != member.user.pk,
    )


@require_safe
@for_member(*COUNTERS)
def training(request: HttpRequest, member: Member) -> HttpResponse:
    """Show one's own record and the dishes to count; to coordinators everybody's."""
    everybody = member.is_coordinator
    readings = queries.readings_of(member, None if everybody else member.user)
    own = [one for one in readings if one.reader_id == member.user.pk]
    record = _record(member, member.user, own)
    to_count, counted = shown_references(queries.references_of(member), own)
    return render(
        request,
        "monitoring/training.html",
        {
            "record": record,
            "to_count": to_count,
            "counted": counted,
            "team": team_of(readings, record.standard) if everybody else [],
            "senior": record.senior,
        },
    )


@require_safe
@for_member(Role.COORDINATOR)
def training_record(
    request: HttpRequest, member: Member, *, person_uuid: UUID
) -> HttpResponse:
    """Show a coordinator how far somebody has come."""
    person = queries.person_for(member, person_uuid)
    readings = queries.readings_of(member, person)
    known = {one.reference_id for one in queries.readings_of(member, member.user)}
    return render(
        request,
        "monitoring/training_record.html",
        {
            "person": person,
            "record": _record(member, person, readings),
            "counted": shown_references([], readings, known=known)[1],
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def new_reference(request: HttpRequest, member: Member) -> HttpResponse:
    """Have a reference dish drawn."""
    day = timezone.localdate(timezone=member.farm_group.zone)
    laboratory = laboratory_of(member.farm_group, on=day)
    form = NewReferenceForm(
        request.POST if request.method == "POST" else None,
        dishes=laboratory.dishes,
        organisms=laboratory.organisms,
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = services.make_reference(
                member, form.asked(), seed=secrets.randbelow(SEEDS)
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, f"{made.name} is drawn. Anybody may count it.")
            return redirect("reference", member.farm_group.slug, made.uuid)
    return render(
        request, "monitoring/new_reference.html", {"form": form}, status=form.status
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def reference(
    request: HttpRequest, member: Member, *, reference_uuid: UUID
) -> HttpResponse:
    """Let somebody count a reference dish, and then show what is in it."""
    found = queries.reference_for(member, reference_uuid)
    reading = queries.own_reading(member, found)
    contents = found.contents.all()
    form = CountsForm(
        request.POST if request.method == "POST" else None,
        organisms=[one.organism for one in contents],
    )
    if request.method == "POST" and form.is_valid():
        try:
            services.hand_in(member, found, form.counts())
        except SiteError as error:
            form.refuse(error)
        else:
            return redirect("reference", member.farm_group.slug, found.uuid)
    return _reference(request, member, found, reading, form=form)


def _reference(
    request: HttpRequest,
    member: Member,
    found: ReferenceDish,
    reading: ReferenceReading | None,
    *,
    form: CountsForm,
) -> HttpResponse:
    page = reference_page(found, reading, at=request.GET.get("at", ""))
    return render(
        request,
        "monitoring/reference.html",
        {
            "reference": found,
            "reading": reading,
            "page": page,
            "form": form,
            "for_script": page.for_script(
                person=str(member.user.uuid), reference=str(found.uuid)
            ),
            "may_withdraw": queries.may_withdraw(member, found),
            "withdraw_form": WithdrawReferenceForm(None),
        },
        status=form.status,
    )


@require_http_methods(["POST"])
@for_member(*COUNTERS)
def withdraw_reference(
    request: HttpRequest, member: Member, *, reference_uuid: UUID
) -> HttpResponse:
    """Let a reference dish count no more."""
    found = queries.reference_for(member, reference_uuid)
    if found.stands and not queries.may_withdraw(member, found):
        raise PermissionDenied(
            "A coordinator may withdraw it; who made it only until it is counted."
        )
    form = WithdrawReferenceForm(request.POST)
    if form.is_valid():
        try:
            services.withdraw_reference(member, found, why=form.cleaned_data["why"])
        except SiteError as error:
            messages.error(request, error.sentence)
        else:
            messages.success(request, f"{found.name} is withdrawn.")
    else:
        messages.error(request, "Say in a few words why it is withdrawn.")
    return redirect("reference", member.farm_group.slug, found.uuid)


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def senior_counter(request: HttpRequest, member: Member) -> HttpResponse:
    """Say against whose recounts others are held."""
    form = SeniorForm(
        request.POST if request.method == "POST" else None,
        people=queries.counters_of(member.farm_group),
        senior=queries.senior_of(member.farm_group),
    )
    if request.method == "POST" and form.is_valid():
        services.choose_senior(member, form.chosen())
        messages.success(request, "Said; it holds for all records from now on.")
        return redirect("training", group_slug=member.farm_group.slug)
    return render(
        request, "monitoring/senior_counter.html", {"form": form}, status=form.status
    )
