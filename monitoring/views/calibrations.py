"""The pages of calibration runs and of the recovery pooled from them."""

from datetime import date
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import COUNTERS, Member, Role
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.calibration_forms import (
    CorrectRunForm,
    InForceForm,
    RunForm,
    WithdrawRunForm,
    initial_for,
    initial_of,
)
from monitoring.models import Tissue
from monitoring.pages.calibrations_page import calibrations_page, run_page
from monitoring.pages.recovery_page import RecoveryPage, recovery_page
from monitoring.queries import calibrations as queries
from monitoring.queries.laboratory import organism_for
from monitoring.queries.seasons import organisms_of_group
from monitoring.services import calibrations as services

GET_OR_POST = ["GET", "HEAD", "POST"]
RUNS_A_PAGE = 50


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


@require_safe
@for_member(*COUNTERS)
def calibrations(request: HttpRequest, member: Member) -> HttpResponse:
    """List what is measured, and all runs."""
    rows = queries.calibration_runs(member.farm_group)
    page = Paginator(rows, RUNS_A_PAGE).get_page(request.GET.get("page"))
    shown = calibrations_page(member.farm_group)
    return render(
        request, "monitoring/calibrations.html", {"page": page, "shown": shown}
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def enter_calibration(request: HttpRequest, member: Member) -> HttpResponse:
    """Enter a run."""
    methods = queries.methods_known(member.farm_group)
    form = RunForm(
        request.POST or None,
        organisms=organisms_of_group(member.group_id),
        initial=initial_for(
            today=_today(member), name=member.user.name, method="".join(methods[:1])
        ),
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = services.enter_run(member, form.measured(), today=_today(member))
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Entered. It is pooled from now on.")
            return redirect("calibration", member.farm_group.slug, made.uuid)
    return render(
        request,
        "monitoring/calibration_form.html",
        {"form": form, "methods": methods, "title": "Enter a calibration run"},
        status=form.status,
    )


@require_safe
@for_member(*COUNTERS)
def calibration(
    request: HttpRequest, member: Member, *, run_uuid: UUID
) -> HttpResponse:
    """Show a run: what it gave, who did it, whether it stands."""
    found = queries.calibration_run_for(member.farm_group, run_uuid)
    shown = run_page(found)
    form = WithdrawRunForm(None)
    return render(
        request,
        "monitoring/calibration.html",
        {"run": found, "shown": shown, "form": form},
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def correct_calibration(
    request: HttpRequest, member: Member, *, run_uuid: UUID
) -> HttpResponse:
    """Put another run in the place of one that was wrong."""
    found = queries.calibration_run_for(member.farm_group, run_uuid)
    form = CorrectRunForm(
        request.POST or None,
        organisms=organisms_of_group(member.group_id),
        initial=initial_of(found),
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = services.correct_run(
                member,
                found,
                form.measured(),
                reason=form.cleaned_data["reason"],
                now=timezone.now(),
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Corrected. The first run stays to be seen.")
            return redirect("calibration", member.farm_group.slug, made.uuid)
    return render(
        request,
        "monitoring/calibration_form.html",
        {
            "form": form,
            "run": found,
            "methods": queries.methods_known(member.farm_group),
            "title": "Correct a calibration run",
        },
        status=form.status,
    )


@require_POST
@for_member(*COUNTERS)
def withdraw_calibration(
    request: HttpRequest, member: Member, *, run_uuid: UUID
) -> HttpResponse:
    """Let a run no longer count."""
    found = queries.calibration_run_for(member.farm_group, run_uuid)
    form = WithdrawRunForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            services.withdraw_run(member, found, reason=reason, now=timezone.now())
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Withdrawn. The run stays to be seen.")
            return redirect("calibration", member.farm_group.slug, found.uuid)
    return render(
        request,
        "monitoring/calibration.html",
        {"run": found, "shown": run_page(found), "form": form},
        status=form.status,
    )


def _page(
    member: Member, organism_uuid: UUID, tissue: str, *, method: str
) -> RecoveryPage:
    if tissue not in Tissue.values:
        raise Http404("No such tissue.")
    organism = organism_for(member.farm_group, organism_uuid)
    return recovery_page(
        member.farm_group, organism, tissue, method=method, on=_today(member)
    )


@require_safe
@for_member(*COUNTERS)
def recovery_pool(
    request: HttpRequest, member: Member, *, organism_uuid: UUID, tissue: str
) -> HttpResponse:
    """Show the runs of an organism, tissue and method, and what they make together."""
    method = request.GET.get("method", "")
    page = _page(member, organism_uuid, tissue, method=method)
    initial = {"valid_from": _today(member).isoformat()}
    return render(
        request,
        "monitoring/recovery_pool.html",
        {"page": page, "form": InForceForm(None, initial=initial)},
    )


@require_POST
@for_member(Role.COORDINATOR)
def put_recovery_in_force(
    request: HttpRequest, member: Member, *, organism_uuid: UUID, tissue: str
) -> HttpResponse:
    """Use a pooled recovery for rounds from a date on."""
    form = InForceForm(request.POST)
    page = _page(member, organism_uuid, tissue, method=request.POST.get("method", ""))
    if form.is_valid():
        try:
            services.put_in_force(
                member,
                page.pool_of(form.cleaned_data["origin"], form.cleaned_data["digest"]),
                of=(page.organism, page.tissue),
                valid_from=form.cleaned_data["valid_from"],
                note=form.cleaned_data["note"],
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(
                request, "In force. Densities of rounds from that date follow."
            )
            return redirect("laboratory", member.farm_group.slug)
    return render(
        request,
        "monitoring/recovery_pool.html",
        {"page": page, "form": form},
        status=form.status,
    )
