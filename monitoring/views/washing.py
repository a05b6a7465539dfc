"""The pages of washing: the protocol, mixing alcohol, and batches of bags."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member, Role
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.models import WashBatch, WashProtocol
from monitoring.pages.reagents_page import reagents_page
from monitoring.pages.washing_page import batch_lines, protocol_lines
from monitoring.queries import washing as queries
from monitoring.queries.seasons import round_for
from monitoring.services import washing as services
from monitoring.washing_forms import (
    BatchForm,
    CorrectBatchForm,
    ProtocolForm,
    ReagentForm,
    WithdrawBatchForm,
    usual_of,
)
from monitoring.words import day

GET_OR_POST = ["GET", "HEAD", "POST"]
# To begin with: bags of a usual round, and what spills (common practice).
USUAL_BAGS, USUAL_SPARE_PERCENT, USUAL_BOTTLE_PERCENT = 14, 10, 70


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _posted(request: HttpRequest) -> Any:
    return request.POST if request.method == "POST" else None


@require_safe
@for_member(*COUNTERS)
def washing(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how bags are to be washed, and the newest batches."""
    protocols = list(queries.protocols_of(member.group_id))
    standing = queries.in_force(protocols, _today(member))
    return render(
        request,
        "monitoring/washing.html",
        {
            "protocol": standing,
            "lines": protocol_lines(standing),
            "others": [
                (one, protocol_lines(one)) for one in protocols if one != standing
            ],
            "batches": queries.newest_batches(member),
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def state_protocol(request: HttpRequest, member: Member) -> HttpResponse:
    """State how bags are to be washed from a date on."""
    today = _today(member)
    standing: WashProtocol = queries.protocol_on(member.group_id, today)
    form = ProtocolForm(_posted(request), standing=standing, today=today)
    if request.method == "POST" and form.is_valid():
        services.state_protocol(member, **form.cleaned_data)
        messages.success(request, "The protocol is stated; earlier ones are kept.")
        return redirect("washing", member.farm_group.slug)
    return render(
        request,
        "monitoring/wash_form.html",
        {
            "form": form,
            "title": "How bags are to be washed",
            "lead": "For the coordinator: what departs from this is kept and marked,"
            " never refused.",
            "back": reverse("washing", args=[member.farm_group.slug]),
        },
        status=422 if form.errors else 200,
    )


@require_safe
@for_member(*COUNTERS)
def reagents(request: HttpRequest, member: Member) -> HttpResponse:
    """Say how much alcohol and water to pour together."""
    usual = usual_of(queries.protocol_on(member.group_id, _today(member)))
    asked = {
        "bags": USUAL_BAGS,
        "volume_ml": usual["volume_ml"],
        "spare_percent": USUAL_SPARE_PERCENT,
        "bottle_percent": USUAL_BOTTLE_PERCENT,
        "wanted_percent": usual["alcohol_percent"],
    } | {key: request.GET[key] for key in ReagentForm.base_fields if key in request.GET}
    form, page = ReagentForm(asked), None
    if form.is_valid():
        try:
            page = reagents_page(**form.cleaned_data)
        except SiteError as error:
            form.refuse(error)
    return render(
        request,
        "monitoring/reagents.html",
        {"form": form, "page": page},
        status=form.status,
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def enter_batch(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Write down which bags of a round were washed, and how."""
    found, today = round_for(member, round_uuid), _today(member)
    bags = queries.bags_to_wash(found)
    form = BatchForm(
        _posted(request),
        bags=bags,
        protocol=queries.protocol_on(member.group_id, today),
        member=member,
        collected_on=found.collected_on,
        today=today,
    )
    if request.method == "POST" and form.is_valid():
        washed = form.washed(wash_number=form.cleaned_data["number"])
        try:
            batch = services.enter_batch(member, found, form.bag_ids(), washed)
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "The batch is kept; counts join its washes.")
            return redirect("wash-batch", member.farm_group.slug, batch.uuid)
    return render(
        request,
        "monitoring/enter_wash.html",
        {"form": form, "round": found, "shown_block": found.block, "bags": bags},
        status=form.status,
    )


@require_safe
@for_member(*COUNTERS)
def batch(request: HttpRequest, member: Member, *, batch_uuid: UUID) -> HttpResponse:
    """Show a batch: how, by whom, what departed, and what came of each bag."""
    found = queries.batch_for(member, batch_uuid)
    return render(
        request,
        "monitoring/wash_batch.html",
        {
            "batch": found,
            "lines": batch_lines(found),
            "washes": queries.washes_of_batch(found),
            "shown_block": found.round.block,
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def correct_batch(
    request: HttpRequest, member: Member, *, batch_uuid: UUID
) -> HttpResponse:
    """Supersede a batch with what it should have said."""
    found = queries.batch_for(member, batch_uuid)
    form = CorrectBatchForm(
        _posted(request),
        batch=found,
        member=member,
        collected_on=found.round.collected_on,
        today=_today(member),
    )
    if request.method == "POST" and form.is_valid():
        washed = form.washed(wash_number=found.number)
        why = form.cleaned_data["reason"]
        try:
            made = services.correct_batch(member, found, washed, why=why)
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Corrected; the batch as it was is kept.")
            return redirect("wash-batch", member.farm_group.slug, made.uuid)
    lead = "For the lab: the bags stay the same. To change them, withdraw the batch."
    return _batch_form(request, form, found, act="Correct", lead=lead)


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def withdraw_batch(
    request: HttpRequest, member: Member, *, batch_uuid: UUID
) -> HttpResponse:
    """Take back a batch that never was."""
    found = queries.batch_for(member, batch_uuid)
    form = WithdrawBatchForm(_posted(request))
    if request.method == "POST" and form.is_valid():
        why = form.cleaned_data["reason"]
        try:
            services.withdraw_batch(member, found, why=why)
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Withdrawn; its bags can be washed again.")
            return redirect("wash-batch", member.farm_group.slug, found.uuid)
    lead = "For the lab: a batch that never was. Its bags are as they were before it."
    return _batch_form(request, form, found, act="Withdraw", lead=lead)


def _batch_form(
    request: HttpRequest, form: Any, batch: WashBatch, *, act: str, lead: str
) -> HttpResponse:
    return render(
        request,
        "monitoring/wash_form.html",
        {
            "form": form if batch.stands or form.is_bound else None,
            "title": f"{act} the batch of {day(batch.washed_on)}",
            "lead": lead,
            "act": act,
            "back": reverse("wash-batch", args=[batch.farm_group.slug, batch.uuid]),
        },
        status=form.status,
    )
