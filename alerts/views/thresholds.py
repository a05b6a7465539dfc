"""The pages on which thresholds are set."""

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

from alerts import queries
from alerts.forms import RemovalForm, ThresholdForm, ValuesForm, initial_of
from alerts.models import ThresholdVersion
from alerts.services import thresholds as services
from blocks.access import RULERS, Member
from blocks.errors import SiteError
from blocks.views.doors import for_member

GET_OR_POST = ["GET", "HEAD", "POST"]


@require_safe
@for_member()
def thresholds(request: HttpRequest, member: Member) -> HttpResponse:
    """List the thresholds that reach the member's farms."""
    return render(
        request,
        "alerts/thresholds.html",
        {"lines": queries.threshold_lines(member)},
    )


@require_http_methods(GET_OR_POST)
@for_member(*RULERS)
def add_threshold(request: HttpRequest, member: Member) -> HttpResponse:
    """Set a threshold that is not there yet."""
    form = ThresholdForm(request.POST or None, member=member)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        watched = services.Watched(
            tissue=given["tissue"],
            organism=given["organism"],
            prey=given["prey"],
            farm=given["farm"],
            block=given["block"],
        )
        values = form.values(is_ratio=given["prey"] is not None)
        try:
            version = services.set_threshold(
                member, watched, values, reason=given["reason"], now=timezone.now()
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Set. Blocks in reach were judged by it at once.")
            _caution(request, version)
            return redirect("thresholds", member.farm_group.slug)
    return render(
        request,
        "alerts/threshold_form.html",
        {"form": form, "title": "Set a threshold"},
        status=form.status,
    )


@require_http_methods(GET_OR_POST)
@for_member()
def threshold(
    request: HttpRequest, member: Member, *, threshold_uuid: UUID
) -> HttpResponse:
    """Show a threshold with its history, and change it."""
    found = queries.threshold_for(member, threshold_uuid)
    versions = queries.versions_of(found)
    newest = versions[0]
    form = ValuesForm(request.POST or None, initial=initial_of(newest))
    if request.method == "POST" and form.is_valid():
        try:
            version = services.change_threshold(
                member,
                found,
                form.values(is_ratio=found.is_ratio),
                seen_number=_number(request.POST.get("seen_number", "")),
                reason=form.cleaned_data["reason"],
                now=timezone.now(),
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(
                request, "Changed. Standing alerts were judged by it at once."
            )
            _caution(request, version)
            return redirect("thresholds", member.farm_group.slug)
    return render(
        request,
        "alerts/threshold.html",
        {
            "form": form,
            "removal": RemovalForm(auto_id="removal_%s"),
            "threshold": found,
            "versions": versions,
            "newest": newest,
            "may_change": queries.may_change(member, found) and not newest.removed,
        },
        status=form.status,
    )


def _caution(request: HttpRequest, version: ThresholdVersion) -> None:
    for sentence in queries.cautions(version):
        messages.warning(request, sentence)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else -1


@require_POST
@for_member(*RULERS)
def remove_threshold(
    request: HttpRequest, member: Member, *, threshold_uuid: UUID
) -> HttpResponse:
    """Let a threshold hold no more."""
    found = queries.threshold_for(member, threshold_uuid)
    form = RemovalForm(request.POST)
    if not form.is_valid():
        raise services.NotAThresholdError("A reason has at most 300 plain characters.")
    services.remove_threshold(
        member, found, reason=form.cleaned_data["reason"], now=timezone.now()
    )
    messages.success(request, "Removed. Alerts that only it kept standing have ended.")
    return redirect("thresholds", member.farm_group.slug)
