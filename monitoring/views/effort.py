"""The pages of dispersion and of how many bags to take."""

from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from blocks.access import Member, block_for
from blocks.views.doors import for_member
from monitoring.effort.planning import plan_for
from monitoring.effort_forms import USUAL, EffortForm
from monitoring.models import Organism, Tissue
from monitoring.pages.dispersion_page import dispersion_page
from monitoring.pages.effort_page import effort_page
from monitoring.queries.effort import history_seen, known_of
from monitoring.queries.seasons import organisms_of_group


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _subject(
    request: HttpRequest, member: Member
) -> tuple[dict[str, Any], Organism | None, str]:
    """Read organism and tissue; odd wishes are taken as the usual ones."""
    organisms = {one.code: one for one in organisms_of_group(member.group_id)}
    organism = organisms.get(request.GET.get("organism", ""))
    organism = organism or next(iter(organisms.values()), None)
    tissue = request.GET.get("tissue", "")
    tissue = tissue if tissue in Tissue.values else Tissue.LEAF.value
    shown = {
        "organisms": organisms.values(),
        "tissues": Tissue.choices,
        "organism": organism,
        "tissue": tissue,
    }
    return shown, organism, tissue


@require_safe
@for_member()
def dispersion(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how an organism clumps on a tissue, by the rounds that the member sees."""
    shown, organism, tissue = _subject(request, member)
    if organism:
        history = history_seen(
            member, organism=organism, tissue=tissue, today=_today(member)
        )
        shown["page"] = dispersion_page(history, organism, tissue)
    return render(request, "monitoring/dispersion.html", shown)


@require_safe
@for_member()
def effort(request: HttpRequest, member: Member, *, block_uuid: UUID) -> HttpResponse:
    """Show how many bags a block takes, for a precision or between two densities."""
    block = block_for(member, block_uuid)
    shown, organism, tissue = _subject(request, member)
    shown |= {"shown_block": block}
    if organism is None:
        return render(request, "monitoring/effort.html", shown)
    known = known_of(
        member, block, organism=organism, tissue=tissue, today=_today(member)
    )
    asked = request.GET.dict()
    given = {name: value for name, value in asked.items() if value.strip()}
    form = EffortForm(USUAL | known.defaults | given)
    shown["form"] = form
    if form.is_valid():
        shown["page"] = effort_page(plan_for(known, form.cleaned_data))
    return render(
        request, "monitoring/effort.html", shown, status=422 if form.errors else 200
    )
