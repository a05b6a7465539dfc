"""The pages of the farm group, of a block and of a round."""

from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from blocks.access import Member, block_for, visible_blocks
from blocks.views.doors import for_member
from monitoring.models import Organism, Tissue
from monitoring.pages import group_page
from monitoring.pages.block_page import tissue_part
from monitoring.queries import maps, seasons, under_way
from monitoring.queries.rounds import bags_of_round
from monitoring.thresholds import standing_alerts, thresholds_in_force


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _chosen(request: HttpRequest, member: Member) -> tuple[Organism | None, str, date]:
    """Read which organism, tissue and day the person looks at; odd ones are usual."""
    organisms = list(seasons.organisms_of_group(member.group_id))
    code = request.GET.get("organism", "")
    organism = next((one for one in organisms if one.code == code), None)
    tissue = request.GET.get("tissue", "")
    try:
        on = parse_date(request.GET.get("on", "")) or _today(member)
    except ValueError:
        on = _today(member)
    return (
        organism or next(iter(organisms), None),
        tissue if tissue in Tissue.values else Tissue.LEAF.value,
        on,
    )


def _group_data(request: HttpRequest, member: Member) -> dict[str, Any]:
    organism, tissue, on = _chosen(request, member)
    blocks = list(visible_blocks(member))
    keys = [block.pk for block in blocks]
    densities = (
        seasons.latest_densities(
            member.group_id, keys, organism_id=organism.pk, tissue=tissue, on=on
        )
        if organism
        else {}
    )
    thresholds = [
        one
        for one in thresholds_in_force(member.group_id, keys)
        if organism and one.organism_id == organism.pk and one.tissue == tissue
    ]
    alerts = standing_alerts(member.group_id, keys)
    lines = group_page.block_lines(blocks, densities, thresholds, alerts)
    return {
        "lines": lines,
        "organism": organism,
        "tissue": tissue,
        "on": on,
        "legend": group_page.legend(thresholds, tissue),
        "alerts": alerts,
        "under_way": under_way.anything(member.group_id),
    }


@require_safe
@for_member()
def group(request: HttpRequest, member: Member) -> HttpResponse:
    """Show the blocks as a list and on a map, for an organism and a day."""
    shown = _group_data(request, member)
    if request.headers.get("HX-Request"):
        return render(request, "monitoring/partials/block_list.html", shown)
    keys = [line.block.pk for line in shown["lines"]]
    bounds = maps.bounds_of(member.group_id, keys)
    shown |= {
        "organisms": list(seasons.organisms_of_group(member.group_id)),
        "tissues": Tissue.choices,
        "days": seasons.days_with_rounds(member.group_id, keys)[::-1][:120],
        "bounds": bounds,
        "map_data": _map_data(member, shown, bounds),
    }
    return render(request, "monitoring/group.html", shown)


def _map_data(
    member: Member, shown: dict[str, Any], bounds: tuple[float, ...] | None
) -> dict[str, Any]:
    base = f"/g/{member.farm_group.slug}"
    return {
        "tiles": f"{base}/tiles/{shown['on']:%Y-%m-%d}/{{z}}/{{x}}/{{y}}.mvt",
        "blockUrl": f"{base}/blocks/",
        "bounds": list(bounds) if bounds else None,
        "ramp": list(group_page.RAMP),
        "blocks": [line.for_map() for line in shown["lines"]],
    }


@require_safe
@for_member()
def group_map_data(request: HttpRequest, member: Member) -> JsonResponse:
    """Give the blocks' states on the map, for a map that is open."""
    shown = _group_data(request, member)
    return JsonResponse({"blocks": [line.for_map() for line in shown["lines"]]})


@require_safe
@for_member()
def block(request: HttpRequest, member: Member, *, block_uuid: UUID) -> HttpResponse:
    """Show a block: the sentence, the chart, the rounds, and its bags on a map."""
    found = block_for(member, block_uuid)
    season = seasons.season_of_block(found)
    thresholds = [
        one for one in thresholds_in_force(member.group_id, [found.pk]) if one.in_season
    ]
    parts = [tissue_part(season, tissue, thresholds) for tissue in season.tissues]
    parts.sort(key=lambda part: part.rows[0].round.collected_on, reverse=True)
    shown = {
        "shown_block": found,
        "parts": parts,
        "boundary": maps.boundary_of(found, on=_today(member)),
        "alerts": standing_alerts(member.group_id, [found.pk]),
        "rounds": season.rounds,
        "under_way": under_way.anything(member.group_id),
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
        },
    )
