"""The pages of what is held of clumping, and of how sure intervals are."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member, Role
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.clumping_forms import LearnForm
from monitoring.models import Tissue
from monitoring.pages.clumping_page import HeldClumping
from monitoring.pages.coverage_page import coverage_page
from monitoring.queries.clumping import clumping_in_force
from monitoring.queries.seasons import organisms_of_group
from monitoring.services.clumping import hold_nothing, learn_from_rounds


@require_safe
@for_member(*COUNTERS)
def held_clumping(request: HttpRequest, member: Member) -> HttpResponse:
    """Show what earlier rounds told of clumping, and since when it is held."""
    today = timezone.localdate(timezone=member.farm_group.zone)
    rows = clumping_in_force(member.farm_group, on=today)
    return render(
        request,
        "monitoring/held_clumping.html",
        {"held": [HeldClumping(row) for row in rows]},
    )


@require_http_methods(["GET", "HEAD", "POST"])
@for_member(Role.COORDINATOR)
def learn_clumping(request: HttpRequest, member: Member) -> HttpResponse:
    """Learn from earlier rounds, or hold nothing, from a date on."""
    today = timezone.localdate(timezone=member.farm_group.zone)
    form = LearnForm(
        request.POST or None,
        organisms=organisms_of_group(member.group_id),
        today=today,
    )
    if request.method == "POST" and form.is_valid():
        change = learn_from_rounds if form.learns else hold_nothing
        try:
            change(
                member,
                organism=form.cleaned_data["organism"],
                tissue=Tissue(form.cleaned_data["tissue"]),
                valid_from=form.cleaned_data["valid_from"],
            )
        except SiteError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(
                request,
                "Densities of rounds from that date on are being computed again.",
            )
            return redirect("held-clumping", group_slug=member.farm_group.slug)
    return render(request, "monitoring/learn_clumping.html", {"form": form})


@require_safe
@for_member()
def how_sure(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how often intervals held the truth in made-up worlds."""
    return render(request, "monitoring/how_sure.html", {"page": coverage_page()})
