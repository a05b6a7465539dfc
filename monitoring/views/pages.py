"""The pages of a block and of a round."""

from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from blocks.access import Member, block_for
from blocks.views.doors import for_member
from monitoring.pages.block_page import tissue_part
from monitoring.pages.washing_page import round_washing
from monitoring.queries import maps, seasons
from monitoring.queries.rounds import (
    bags_of_round,
    densities_of_round,
    ratios_of_round,
)
from monitoring.queries.treatments import treated_blocks
from monitoring.queries.under_way import freshness_of
from monitoring.queries.washing import protocols_of, washes_of_round
from monitoring.thresholds import standing_alerts, thresholds_in_force
from monitoring.views.asking import is_seen


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


@require_safe
@for_member()
def block(request: HttpRequest, member: Member, *, block_uuid: UUID) -> HttpResponse:
    """Show a block: the sentence, the chart, the rounds, and its bags on a map."""
    found = block_for(member, block_uuid)
    freshness = freshness_of(member.group_id)
    if is_seen(request, freshness):
        return HttpResponse(status=204)
    season = seasons.season_of_block(found)
    thresholds = [
        one for one in thresholds_in_force(member.group_id, [found.pk]) if one.in_season
    ]
    treatments = list(treated_blocks(member.group_id, [found.pk]))
    parts = [
        tissue_part(season, tissue, thresholds, treatments) for tissue in season.tissues
    ]
    parts.sort(key=lambda part: part.rows[0].round.collected_on, reverse=True)
    shown = {
        "shown_block": found,
        "parts": parts,
        "boundary": maps.boundary_of(found, on=_today(member)),
        "alerts": standing_alerts(member.group_id, [found.pk]),
        "rounds": season.rounds,
        "treatments": treatments,
        "freshness": freshness,
    }
    if request.headers.get("HX-Request"):
        return render(request, "monitoring/partials/block_figures.html", shown)
    shown["map_data"] = _block_map_data(found, shown, season)
    return render(request, "monitoring/block.html", shown)


def _block_map_data(
    found: Any, shown: dict[str, Any], season: seasons.Season
) -> dict[str, Any] | None:
    boundary, parts = shown["boundary"], shown["parts"]
    if boundary is None:
        return None
    bags = []
    if parts and parts[0].organisms:
        bags = maps.bags_as_points(
            parts[0].rows[0].round,
            tissue=parts[0].tissue,
            organism_id=parts[0].organisms[0].pk,
        )
    return {
        "boundary": boundary.geometry.json,
        "bounds": list(boundary.geometry.extent),
        "bags": bags,
        "organism": parts[0].organisms[0].name if bags else "",
        "unit": parts[0].tissue if bags else "",
    }


@require_safe
@for_member()
def visit(request: HttpRequest, member: Member, *, round_uuid: UUID) -> HttpResponse:
    """Show a round: its bags and every count of them, old ones too."""
    found = seasons.round_for(member, round_uuid)
    return render(
        request,
        "monitoring/round.html",
        {
            "round": found,
            "shown_block": found.block,
            "bags": bags_of_round(found),
            "densities": densities_of_round(found),
            "ratios": ratios_of_round(found),
            "washing": round_washing(
                washes_of_round(found),
                list(protocols_of(member.group_id)),
                found.collected_on,
            ),
        },
    )
