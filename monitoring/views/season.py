"""A block through the season: mite-days, degree-days, growth stages."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from blocks.access import COUNTERS, Member, block_for
from blocks.views.doors import for_member
from monitoring.pages.block_page import treatment_marks
from monitoring.pages.mite_day_sums import Period, periods_of
from monitoring.pages.season_page import season_page
from monitoring.pages.weather_page import farm_heat
from monitoring.queries.seasons import round_for, season_of_block
from monitoring.queries.treatments import treated_blocks
from monitoring.services.growth_stages import set_growth_stage


@require_safe
@for_member()
def block_season(
    request: HttpRequest, member: Member, *, block_uuid: UUID
) -> HttpResponse:
    """Show one season of a block; the newest unless another is asked for."""
    found = block_for(member, block_uuid)
    season = season_of_block(found)
    periods = periods_of(season.rounds)
    shown: dict[str, Any] = {"shown_block": found, "periods": periods}
    if periods:
        period = _asked(request, periods)
        heat = farm_heat(found.farm, on=period.last_on)
        treatments = treated_blocks(member.group_id, [found.pk])
        shown |= {
            "page": season_page(season, period, heat, treatment_marks(treatments)),
            "period": period,
            "heat": heat,
        }
    return render(request, "monitoring/block_season.html", shown)


def _asked(request: HttpRequest, periods: list[Period]) -> Period:
    """Find the season that begins on the day asked for; the newest for any other."""
    asked = request.GET.get("season", "")
    return next(
        (one for one in periods if one.first_on.isoformat() == asked), periods[0]
    )


@require_POST
@for_member(*COUNTERS)
def growth_stage(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Give a round its growth stage."""
    found = round_for(member, round_uuid)
    stage = set_growth_stage(member, found, written=request.POST.get("stage", ""))
    messages.success(
        request,
        f"Growth stage: {stage}." if stage else "The growth stage is taken away.",
    )
    return redirect("round", member.farm_group.slug, found.uuid)
