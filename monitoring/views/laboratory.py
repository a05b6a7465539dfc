"""The pages on which a coordinator says how the laboratory works."""

from collections.abc import Callable
from datetime import date
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
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
from monitoring.figures.dish import draw_dish
from monitoring.laboratory_forms import (
    CanopyWeightsForm,
    DishForm,
    OrganismForm,
    RatioSettingForm,
    RecoveryForm,
    SymptomScaleForm,
)
from monitoring.models import Organism, Tissue
from monitoring.queries.laboratory import dish_for, laboratory_of, organism_for
from monitoring.services import settings as services

GET_OR_POST = ["GET", "HEAD", "POST"]


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _answer(
    request: HttpRequest,
    member: Member,
    *,
    title: str,
    form: forms.Form,
    save: Callable[[], object],
    saved: str,
) -> HttpResponse:
    """Show a form, or save it and go back to the laboratory's page."""
    if request.method == "POST" and form.is_valid():
        try:
            save()
        except SiteError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, saved)
            return redirect("laboratory", group_slug=member.farm_group.slug)
    return render(
        request,
        "monitoring/laboratory_form.html",
        {"form": form, "title": title},
        status=422 if form.errors else 200,
    )


@require_safe
@for_member(*COUNTERS)
def laboratory(request: HttpRequest, member: Member) -> HttpResponse:
    """Show organisms, dishes, recoveries, canopy weights and the symptom scale."""
    return render(
        request,
        "monitoring/laboratory.html",
        {"laboratory": laboratory_of(member.farm_group, on=_today(member))},
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def add_organism(request: HttpRequest, member: Member) -> HttpResponse:
    """Add an organism to count."""
    form = OrganismForm(request.POST or None)
    return _answer(
        request,
        member,
        title="Add an organism",
        form=form,
        save=lambda: services.add_organism(
            member,
            name=form.cleaned_data["name"],
            role=Organism.Role(form.cleaned_data["role"]),
        ),
        saved="The organism is counted from now on; sheets have columns for it.",
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def change_organism(
    request: HttpRequest, member: Member, *, organism_uuid: UUID
) -> HttpResponse:
    """Give an organism another name or role."""
    organism = organism_for(member.farm_group, organism_uuid)
    initial = {"name": organism.name, "role": organism.role}
    form = OrganismForm(request.POST or None, initial=initial)
    return _answer(
        request,
        member,
        title=f"Change {organism.name}",
        form=form,
        save=lambda: services.change_organism(
            organism,
            name=form.cleaned_data["name"],
            role=Organism.Role(form.cleaned_data["role"]),
        ),
        saved="Changed. Its column in sheets is the same as before.",
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def add_dish(request: HttpRequest, member: Member) -> HttpResponse:
    """Describe a dish."""
    form = DishForm(request.POST or None)
    return _answer(
        request,
        member,
        title="Describe a dish",
        form=form,
        save=lambda: services.add_dish(
            member,
            name=form.cleaned_data["name"],
            diameter_mm=form.cleaned_data["diameter_mm"],
            pitch_mm=form.cleaned_data["pitch_mm"],
            offset_mm=(
                form.cleaned_data["offset_x_mm"],
                form.cleaned_data["offset_y_mm"],
            ),
        ),
        saved="The dish is described; look at its drawing.",
    )


@require_safe
@for_member(*COUNTERS)
def dish(request: HttpRequest, member: Member, *, dish_uuid: UUID) -> HttpResponse:
    """Draw a dish with the name and area of each cell."""
    found = dish_for(member.farm_group, dish_uuid)
    drawing = draw_dish(
        inner_diameter_mm=found.inner_diameter_mm,
        pitch_mm=found.pitch_mm,
        offset_mm=(found.offset_x_mm, found.offset_y_mm),
    )
    return render(request, "monitoring/dish.html", {"dish": found, "drawing": drawing})


@require_POST
@for_member(Role.COORDINATOR)
def make_dish_usual(
    request: HttpRequest, member: Member, *, dish_uuid: UUID
) -> HttpResponse:
    """Let sheets that name no dish mean this one."""
    found = dish_for(member.farm_group, dish_uuid)
    services.make_usual(found)
    messages.success(request, f"Sheets that name no dish now mean {found.name}.")
    return redirect("laboratory", group_slug=member.farm_group.slug)


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def state_recovery(request: HttpRequest, member: Member) -> HttpResponse:
    """State what one wash brings off, from a date on."""
    today = _today(member)
    organisms = laboratory_of(member.farm_group, on=today).organisms
    form = RecoveryForm(request.POST or None, organisms=organisms, today=today)
    return _answer(
        request,
        member,
        title="State a recovery",
        form=form,
        save=lambda: services.state_recovery(
            member,
            organism=form.cleaned_data["organism"],
            tissue=Tissue(form.cleaned_data["tissue"]),
            stated=services.StatedRecovery(
                fixed_value=form.cleaned_data["fixed_value"],
                low=form.cleaned_data["low"],
                high=form.cleaned_data["high"],
            ),
            valid_from=form.cleaned_data["valid_from"],
            note=form.cleaned_data["note"],
        ),
        saved="Densities of rounds from that date on are being computed again.",
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def canopy_weights(request: HttpRequest, member: Member) -> HttpResponse:
    """State which share of the leaves stands in each canopy position."""
    today = _today(member)
    known = laboratory_of(member.farm_group, on=today).canopy_weights
    initial = {row.position: row.share for row in known} | {"valid_from": today}
    form = CanopyWeightsForm(request.POST or None, initial=initial)
    return _answer(
        request,
        member,
        title="Canopy weights",
        form=form,
        save=lambda: services.set_canopy_weights(
            member, shares=form.shares(), valid_from=form.cleaned_data["valid_from"]
        ),
        saved="Densities of rounds from that date on are being computed again.",
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def ratio_setting(request: HttpRequest, member: Member) -> HttpResponse:
    """State whether predators and prey come off a leaf alike."""
    today = _today(member)
    known = laboratory_of(member.farm_group, on=today).ratio_setting
    initial = {
        "shared": "yes" if known and known.recoveries_shared else "no",
        "valid_from": today,
    }
    form = RatioSettingForm(request.POST or None, initial=initial)
    return _answer(
        request,
        member,
        title="Recoveries in the predator ratio",
        form=form,
        save=lambda: services.state_shared_recoveries(
            member,
            shared=form.cleaned_data["shared"] == "yes",
            note=form.cleaned_data["note"],
            valid_from=form.cleaned_data["valid_from"],
        ),
        saved="Ratios of rounds from that date on are being computed again.",
    )


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def symptom_scale(request: HttpRequest, member: Member) -> HttpResponse:
    """State the scores by which symptoms are judged."""
    today = _today(member)
    scale = laboratory_of(member.farm_group, on=today).symptom_scale
    initial = {
        "lowest": scale.lowest if scale else 0,
        "highest": scale.highest if scale else 4,
        "level_names": "\n".join(scale.level_names) if scale else "",
        "wording": scale.wording if scale else "",
        "valid_from": today,
    }
    form = SymptomScaleForm(request.POST or None, initial=initial)
    return _answer(
        request,
        member,
        title="Symptom scale",
        form=form,
        save=lambda: services.set_symptom_scale(member, **form.cleaned_data),
        saved="Sheets are checked against the new scale from now on.",
    )
