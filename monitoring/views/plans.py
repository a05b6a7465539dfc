"""The pages on which rounds are planned, put off and withdrawn."""

import secrets
from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import PLANNERS, Member, block_for
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.pages.plan_page import plan_page, proposal_part
from monitoring.plan_forms import HIGHEST_SEED, PlanForm, PutOffForm
from monitoring.planning.proposing import Setting, propose
from monitoring.queries import plans as queries
from monitoring.services import plans as services

GET_OR_POST = ["GET", "HEAD", "POST"]
USUAL = {
    "tissue": "leaf",
    "aim": "precision",
    "precision_percent": "25",
    "method": "balanced",
    "buffer_m": "5",
}


def today_of(member: Member) -> date:
    """Give today's date where the farm group lies."""
    return timezone.localdate(timezone=member.farm_group.zone)


def _first_answers(setting: Setting, today: date) -> dict[str, Any]:
    """Fill the form in as most rounds are planned."""
    return USUAL | {
        "planned_on": today.isoformat(),
        "organism": setting.organisms[0].code if setting.organisms else "",
        "positions": ["low", "mid", "upper"],
        "snapped": "on" if setting.rows else "",
        "seed": str(secrets.randbelow(HIGHEST_SEED)),
    }


@require_http_methods(GET_OR_POST)
@for_member(*PLANNERS)
def plan_round(
    request: HttpRequest, member: Member, *, block_uuid: UUID
) -> HttpResponse:
    """Show a round as it would be planned, and plan it when asked."""
    block = block_for(member, block_uuid)
    today = today_of(member)
    setting = queries.setting_of(member, block, today=today)
    form = PlanForm(
        request.POST if request.method == "POST" else _first_answers(setting, today),
        organisms=setting.organisms,
        earlier=setting.earlier,
        has_rows=setting.rows is not None,
        today=today,
    )
    shown: dict[str, Any] = {"shown_block": block, "form": form, "setting": setting}
    if form.is_valid():
        try:
            proposal = propose(
                member, setting, form.cleaned_data, wish=form.wish(), today=today
            )
            shown["part"] = proposal_part(proposal)
            if request.method == "POST" and "plan" in request.POST:
                made = services.make_plan(member, proposal, now=timezone.now())
                messages.success(request, "Planned. Its field sheet is ready to print.")
                return redirect("plan", member.farm_group.slug, made.uuid)
        except SiteError as error:
            form.refuse(error)
    status = form.status if request.method == "POST" else 200
    return render(request, "monitoring/plan_round.html", shown, status=status)


def _page(member: Member, plan_uuid: UUID) -> dict[str, Any]:
    found = queries.plan_for(member, plan_uuid)
    page = plan_page(found, list(queries.points_of(found)))
    return {
        "plan": found,
        "shown_block": found.block,
        "page": page,
        "bagged": queries.bagged_round(found),
    }


@require_safe
@for_member()
def plan(request: HttpRequest, member: Member, *, plan_uuid: UUID) -> HttpResponse:
    """Show a planned round with its map, its walk and its downloads."""
    shown = _page(member, plan_uuid)
    shown["walked"] = queries.walked_round(shown["plan"])
    shown["form"] = PutOffForm(None, today=today_of(member))
    return render(request, "monitoring/plan.html", shown)


@require_safe
@for_member()
def field_sheet(
    request: HttpRequest, member: Member, *, plan_uuid: UUID
) -> HttpResponse:
    """Show a planned round as a sheet to print and take along."""
    return render(request, "monitoring/plan_sheet.html", _page(member, plan_uuid))


@require_POST
@for_member(*PLANNERS)
def put_off(request: HttpRequest, member: Member, *, plan_uuid: UUID) -> HttpResponse:
    """Move a planned round to another day."""
    found = queries.plan_for(member, plan_uuid)
    form = PutOffForm(request.POST, today=today_of(member))
    if form.is_valid():
        try:
            services.put_off(member, found, to=form.cleaned_data["to"])
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Moved. Calendars follow within half a day.")
            return redirect("plan", member.farm_group.slug, found.uuid)
    shown = _page(member, plan_uuid) | {
        "form": form,
        "walked": queries.walked_round(found),
    }
    return render(request, "monitoring/plan.html", shown, status=form.status)


@require_POST
@for_member(*PLANNERS)
def withdraw(request: HttpRequest, member: Member, *, plan_uuid: UUID) -> HttpResponse:
    """Say that a planned round will not be walked."""
    found = queries.plan_for(member, plan_uuid)
    try:
        services.withdraw_plan(member, found, now=timezone.now())
    except SiteError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, "Withdrawn. The plan stays to be seen.")
    return redirect("plan", member.farm_group.slug, found.uuid)
