"""The page of the farm group: its blocks as a list and on a map."""

from dataclasses import dataclass
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from blocks.access import Member, visible_blocks
from blocks.models import Farm
from blocks.views.doors import for_member
from monitoring.models import Organism, Tissue
from monitoring.pages import group_page
from monitoring.queries import maps, seasons
from monitoring.queries.under_way import freshness_of
from monitoring.thresholds import standing_alerts, thresholds_in_force
from monitoring.views.asking import is_seen

DAYS_OFFERED = 120


@dataclass(frozen=True, slots=True)
class Chosen:
    """What the person looks at; odd wishes are taken as the usual ones."""

    organisms: list[Organism]
    organism: Organism | None
    tissue: str
    on: date
    farm: str
    order: str

    def query(self, **other: str) -> str:
        """Write the choice, or one that differs in a part, as a query string."""
        usual = {
            "organism": self.organism.code if self.organism else "",
            "tissue": self.tissue,
            "on": self.on.isoformat(),
            "farm": self.farm,
            "order": self.order,
        }
        return urlencode(
            {key: value for key, value in (usual | other).items() if value}
        )


def _chosen(request: HttpRequest, member: Member) -> Chosen:
    organisms = list(seasons.organisms_of_group(member.group_id))
    code = request.GET.get("organism", "")
    tissue, order = request.GET.get("tissue", ""), request.GET.get("order", "")
    today = timezone.localdate(timezone=member.farm_group.zone)
    try:
        on = parse_date(request.GET.get("on", "")) or today
    except ValueError:
        on = today
    return Chosen(
        organisms=organisms,
        organism=next(
            (one for one in organisms if one.code == code), next(iter(organisms), None)
        ),
        tissue=tissue if tissue in Tissue.values else Tissue.LEAF.value,
        on=on,
        farm=request.GET.get("farm", ""),
        order=order if order in group_page.ORDERS else "",
    )


def _shown(request: HttpRequest, member: Member) -> dict[str, Any]:
    chosen = _chosen(request, member)
    organism, tissue = chosen.organism, chosen.tissue
    blocks = list(visible_blocks(member))
    farms: dict[str, Farm] = {str(one.farm.uuid): one.farm for one in blocks}
    if chosen.farm in farms:
        blocks = [one for one in blocks if str(one.farm.uuid) == chosen.farm]
    keys = [block.pk for block in blocks]
    densities = (
        seasons.latest_densities(
            member.group_id, keys, organism_id=organism.pk, tissue=tissue, on=chosen.on
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
        "lines": group_page.in_order(lines, chosen.order),
        "chosen": chosen,
        "farms": farms if len(farms) > 1 else {},
        "orders": _orders(chosen),
        "legend": group_page.legend(lines, tissue),
        "alerts": alerts,
    }


def _orders(chosen: Chosen) -> list[dict[str, Any]]:
    words = {
        "": "farm and name",
        "density": "highest density",
        "chance": "surest above its threshold",
        "round": "newest round",
    }
    return [
        {
            "words": words[order],
            "query": chosen.query(order=order),
            "current": order == chosen.order,
        }
        for order in words
    ]


@require_safe
@for_member()
def group(request: HttpRequest, member: Member) -> HttpResponse:
    """Show the blocks as a list and on a map, for an organism and a day."""
    freshness = freshness_of(member.group_id)
    if is_seen(request, freshness):
        return HttpResponse(status=204)
    shown = _shown(request, member) | {"freshness": freshness}
    if request.headers.get("HX-Request"):
        return render(request, "monitoring/partials/block_list.html", shown)
    keys = [line.block.pk for line in shown["lines"]]
    shown |= {
        "tissues": Tissue.choices,
        "days": seasons.days_with_rounds(member.group_id, keys)[::-1][:DAYS_OFFERED],
        "map_data": _map_data(member, shown, maps.bounds_of(member.group_id, keys)),
    }
    return render(request, "monitoring/group.html", shown)


def _map_data(
    member: Member, shown: dict[str, Any], bounds: tuple[float, ...] | None
) -> dict[str, Any]:
    base = reverse("group", args=[member.farm_group.slug])
    return {
        "tiles": f"{base}tiles/{shown['chosen'].on:%Y-%m-%d}/{{z}}/{{x}}/{{y}}.mvt",
        "blockUrl": f"{base}blocks/",
        "bounds": list(bounds) if bounds else None,
        "ramp": list(group_page.RAMP),
        "blocks": [line.for_map() for line in shown["lines"]],
    }


@require_safe
@for_member()
def group_map_data(request: HttpRequest, member: Member) -> JsonResponse:
    """Give the blocks' states on the map, for a map that is open."""
    shown = _shown(request, member)
    return JsonResponse({"blocks": [line.for_map() for line in shown["lines"]]})
