"""The pages of dispersion and of how many bags to take."""

from datetime import timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from blocks.access import Member, visible_blocks
from blocks.views.doors import for_member
from monitoring.densities.history import pooled_k_history
from monitoring.effort.laws import FEWEST_BAGS_SHOWN
from monitoring.models import Tissue
from monitoring.pages.dispersion_page import dispersion_page
from monitoring.queries.seasons import organisms_of_group


@require_safe
@for_member()
def dispersion(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how an organism clumps on a tissue, by the rounds that the member sees."""
    organisms = {one.code: one for one in organisms_of_group(member.group_id)}
    organism = organisms.get(request.GET.get("organism", ""))
    organism = organism or next(iter(organisms.values()), None)
    tissue = request.GET.get("tissue", "")
    tissue = tissue if tissue in Tissue.values else Tissue.LEAF.value
    shown: dict[str, Any] = {"organisms": organisms.values(), "tissues": Tissue.choices}
    if organism:
        today = timezone.localdate(timezone=member.farm_group.zone)
        history = pooled_k_history(
            member.group_id,
            tissue=tissue,
            organism_id=organism.pk,
            before=today + timedelta(days=1),
            block_ids=visible_blocks(member).values_list("pk", flat=True),
            fewest_bags=FEWEST_BAGS_SHOWN,
        )
        shown["page"] = dispersion_page(history, organism, tissue)
    return render(request, "monitoring/dispersion.html", shown)
