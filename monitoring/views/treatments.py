"""The pages on which treatments are recorded, corrected and weighed."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import TREATERS, Member, block_for, visible_farms
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.densities.efficacy import Window, effects_on
from monitoring.pages import efficacy_page
from monitoring.queries import treatments as queries
from monitoring.queries.seasons import organisms_of_group
from monitoring.services import treatments as services
from monitoring.treatment_forms import (
    CorrectionForm,
    TreatmentForm,
    WindowForm,
    WithdrawalForm,
    initial_of,
)

GET_OR_POST = ["GET", "HEAD", "POST"]
TREATMENTS_A_PAGE = 50


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


@require_safe
@for_member()
def treatments(request: HttpRequest, member: Member) -> HttpResponse:
    """List the treatments of the farms that the member sees."""
    farms = list(visible_farms(member))
    farm = queries.chosen(farms, request.GET.get("farm", ""))
    rows = queries.treatments_seen(member, farm_uuid=farm.uuid if farm else None)
    page = Paginator(rows, TREATMENTS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "monitoring/treatments.html",
        {"page": page, "farms": farms, "farm": farm},
    )


@require_http_methods(GET_OR_POST)
@for_member(*TREATERS)
def record_treatment(request: HttpRequest, member: Member) -> HttpResponse:
    """Record one treatment for several blocks of a farm."""
    farms = list(visible_farms(member))
    first = queries.chosen_block(member, request.GET.get("block", ""))
    asked = str(first.farm.uuid) if first else request.GET.get("farm", "")
    farm = queries.chosen(farms, asked) or next(iter(farms), None)
    initial: dict[str, Any] = {"treated_on": _today(member)}
    if first is not None:
        initial["treated"] = [str(first.uuid)]
    form = TreatmentForm(
        request.POST or None,
        blocks=queries.blocks_of_farms(member, [farm.pk] if farm else []),
        initial=initial,
    )
    if request.method == "POST" and form.is_valid():
        try:
            made = services.record(member, form.done(), now=timezone.now())
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Recorded. It is marked on its blocks' charts.")
            return redirect("treatment", member.farm_group.slug, made.uuid)
    shown = {"form": form, "farms": farms, "farm": farm}
    return render(
        request, "monitoring/record_treatment.html", shown, status=form.status
    )


@require_safe
@for_member()
def treatment(
    request: HttpRequest, member: Member, *, treatment_uuid: UUID
) -> HttpResponse:
    """Show a treatment with all its records."""
    found = queries.treatment_for(member, treatment_uuid)
    records = queries.records_of(member, found)
    return render(
        request,
        "monitoring/treatment.html",
        {
            "treatment": found,
            "parts": queries.sorted_parts(found),
            "records": records,
            "newest": records[0],
            "stands": records[0].pk == found.pk and not found.withdrawn,
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(*TREATERS)
def correct_treatment(
    request: HttpRequest, member: Member, *, treatment_uuid: UUID
) -> HttpResponse:
    """Supersede a treatment with what it should have said."""
    found = queries.treatment_for(member, treatment_uuid)
    farms = {part.block.farm_id for part in found.parts.all()}
    form = CorrectionForm(
        request.POST or None,
        blocks=queries.blocks_of_farms(member, farms),
        initial=initial_of(found),
    )
    if request.method == "POST" and form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            made = services.correct(
                member, found, form.done(), reason=reason, now=timezone.now()
            )
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Corrected. The first record stays to be seen.")
            return redirect("treatment", member.farm_group.slug, made.uuid)
    return render(
        request,
        "monitoring/correct_treatment.html",
        {"form": form, "treatment": found, "withdrawal": WithdrawalForm(None)},
        status=form.status,
    )


@require_POST
@for_member(*TREATERS)
def withdraw_treatment(
    request: HttpRequest, member: Member, *, treatment_uuid: UUID
) -> HttpResponse:
    """Say that a recorded treatment never was."""
    found = queries.treatment_for(member, treatment_uuid)
    form = WithdrawalForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        try:
            made = services.withdraw(member, found, reason=reason, now=timezone.now())
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(request, "Withdrawn. Its record stays to be seen.")
            return redirect("treatment", member.farm_group.slug, made.uuid)
    return render(
        request,
        "monitoring/withdraw_treatment.html",
        {"withdrawal": form, "treatment": found},
        status=form.status,
    )


@require_safe
@for_member()
def efficacy(
    request: HttpRequest, member: Member, *, treatment_uuid: UUID, block_uuid: UUID
) -> HttpResponse:
    """Show what became of each organism on a treated block."""
    block = block_for(member, block_uuid)
    found = queries.treatment_for(member, treatment_uuid)
    sides = queries.sides_of(found, block)
    form = WindowForm(request.GET or None)
    asked = form.asked()
    window = Window(
        before_days=int(asked["before"]),
        after_days=int(asked["after"]),
        apart_days=int(asked["apart"]),
    )
    effects = effects_on(block, sides.checks, found.treated_on, window)
    others = queries.other_treatments(found, [block, *sides.checks])
    organisms = organisms_of_group(member.group_id)
    return render(
        request,
        "monitoring/efficacy.html",
        {
            "treatment": found,
            "shown_block": block,
            "checks": sides.checks,
            "form": form,
            "asked": asked,
            "parts": efficacy_page.parts_of(
                effects,
                treated_on=found.treated_on,
                above=asked["above"],
                has_check=bool(sides.checks),
            ),
            "cautions": efficacy_page.cautions(block, sides.checks, effects, others),
            "uncounted": efficacy_page.not_compared(organisms, effects),
        },
        status=422 if form.errors else 200,
    )
