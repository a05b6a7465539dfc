"""The pages on how well counters agree, and on blank washes."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member, Role
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.laboratory_forms import AgreementStandardForm, WithdrawBlankForm
from monitoring.models import Organism, Tissue
from monitoring.pages import agreement as agreement_page
from monitoring.pages.agreement_words import sentence_of, standard_words
from monitoring.pages.blanks import WASH_OF, carried_by_organism, lines_of
from monitoring.pages.readings import FEWEST_ANIMALS
from monitoring.queries import counters as queries
from monitoring.queries.seasons import organisms_of_group
from monitoring.services import agreement as services

GET_OR_POST = ["GET", "HEAD", "POST"]
PAIRS_SHOWN = 200
LINES_SHOWN = 300


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _chosen(
    request: HttpRequest, organisms: list[Organism], years: list[int]
) -> queries.Asked | None:
    """Read what is asked for; odd wishes are taken as the usual ones."""
    code, tissue = request.GET.get("organism", ""), request.GET.get("tissue", "")
    year = next((one for one in years if str(one) == request.GET.get("year")), None)
    organism = next((one for one in organisms if one.code == code), None)
    if not organisms:
        return None
    return queries.Asked(
        organism=organism or organisms[0],
        tissue=tissue if tissue in Tissue.values else Tissue.LEAF.value,
        year=year,
    )


@require_safe
@for_member(*COUNTERS)
def counters(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how well counters agree on one organism and tissue."""
    organisms = list(organisms_of_group(member.group_id))
    years = queries.years_of_rounds(member)
    asked = _chosen(request, organisms, years)
    standard = queries.standard_on(member.farm_group, _today(member))
    shown: dict[str, Any] = {
        "organisms": organisms,
        "tissues": Tissue.choices,
        "years": years,
        "asked": asked,
        "standard": standard,
        "fewest": agreement_page.FEWEST_PAIRS,
        "fewest_comparisons": agreement_page.FEWEST_COMPARISONS,
        "fewest_of_three": agreement_page.FEWEST_DISHES_OF_THREE,
        "fewest_animals": FEWEST_ANIMALS,
        "fewest_days": agreement_page.FEWEST_DAYS,
        "days_of_drift": agreement_page.DAYS_OF_DRIFT,
        "most": queries.MOST_DISHES,
    }
    if asked is not None:
        dishes = queries.counted_again(member, asked)
        found = agreement_page.agreement_of(dishes, standard)
        shown |= {
            "agreement": found,
            "sentence": sentence_of(found, asked.organism, asked.tissue),
            "standard_words": standard_words(standard, found.judged),
            "pairs": found.pairs[:PAIRS_SHOWN],
            "reached_most": len(dishes) >= queries.MOST_DISHES,
        }
    return render(request, "monitoring/counters.html", shown)


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def agreement_standard(request: HttpRequest, member: Member) -> HttpResponse:
    """State the agreement that the lab asks of its counters, from a date on."""
    standards = list(queries.standards_of(member.farm_group))
    today = _today(member)
    newest = standards[0] if standards else None
    initial = {
        "least_concordance": newest.least_concordance if newest else 0.9,
        "widest_ratio": newest.widest_ratio if newest else 1.5,
        "valid_from": today,
    }
    form = AgreementStandardForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        services.state_standard(member, **form.cleaned_data)
        messages.success(request, "The standard is stated; earlier ones are kept.")
        return redirect("counters", group_slug=member.farm_group.slug)
    return render(
        request,
        "monitoring/agreement_standard.html",
        {"form": form, "standards": standards},
        status=422 if form.errors else 200,
    )


@require_safe
@for_member(*COUNTERS)
def blanks(request: HttpRequest, member: Member) -> HttpResponse:
    """List blank washes, and say how much is carried over at most."""
    found = queries.blanks_of(member)
    lines = lines_of(found)
    return render(
        request,
        "monitoring/blanks.html",
        {
            "carried": carried_by_organism(lines),
            "lines": lines[:LINES_SHOWN],
            "lines_total": len(lines),
            "wash_of": WASH_OF,
            "reached_most": len(found) >= queries.MOST_BLANKS,
            "most": queries.MOST_BLANKS,
        },
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def withdraw_blank(
    request: HttpRequest, member: Member, *, blank_uuid: UUID
) -> HttpResponse:
    """Let a blank wash that was written down wrongly no longer stand."""
    blank = queries.blank_for(member, blank_uuid)
    form = WithdrawBlankForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            services.withdraw_blank(member, blank, why=form.cleaned_data["why"])
        except SiteError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, f"Blank {blank.code} no longer stands.")
            return redirect("blanks", group_slug=member.farm_group.slug)
    return render(
        request,
        "monitoring/withdraw_blank.html",
        {"form": form, "blank": blank},
        status=422 if form.errors else 200,
    )
