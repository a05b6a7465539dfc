"""The pages of symptom scores: which organism goes with the damage, and scoring."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from blocks.access import COUNTERS, Member, visible_blocks
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.models import Organism
from monitoring.pages.symptom_page import symptom_page
from monitoring.pages.symptom_words import NO_PROOF
from monitoring.queries.rounds import bags_of_round
from monitoring.queries.seasons import days_with_rounds, organisms_of_group, round_for
from monitoring.queries.symptoms import scored_leaves
from monitoring.services import symptoms as services
from monitoring.symptom_forms import ScoresForm
from monitoring.symptoms.seasons import seasons_of

GET_OR_POST = ["GET", "HEAD", "POST"]


def _pair(
    request: HttpRequest, member: Member
) -> tuple[list[Organism], list[Organism]]:
    """Give the organisms that may scar, and the two compared; odd wishes are usual."""
    offered = [
        one
        for one in organisms_of_group(member.group_id)
        if one.role != Organism.Role.PREDATOR
    ]
    by_code = {one.code: one for one in offered}
    wanted = [
        by_code[code]
        for code in (request.GET.get("first"), request.GET.get("second"))
        if code in by_code
    ]
    pair = list(dict.fromkeys([*wanted, *offered]))[:2]
    return offered, pair


@require_safe
@for_member()
def symptoms(request: HttpRequest, member: Member) -> HttpResponse:
    """Show which organism goes with the damage, for a farm or all, and a season."""
    blocks = {block.pk: block for block in visible_blocks(member)}
    farms = {str(block.farm.uuid): block.farm for block in blocks.values()}
    farm = request.GET.get("farm", "")
    if farm in farms:
        blocks = {
            key: block for key, block in blocks.items() if str(block.farm.uuid) == farm
        }
    spans = seasons_of(days_with_rounds(member.group_id, list(blocks)))
    named = {span.key: span for span in spans}
    span = named.get(request.GET.get("season", ""), spans[0] if spans else None)
    offered, pair = _pair(request, member)
    shown: dict[str, Any] = {
        "farms": farms if len(farms) > 1 else {},
        "farm": farm,
        "spans": spans,
        "span": span,
        "offered": offered,
        "pair": pair,
        "no_proof": NO_PROOF,
    }
    if span and pair:
        leaves = scored_leaves(member.group_id, blocks.values(), span, pair)
        shown |= {"leaves": leaves, "page": symptom_page(leaves, pair, blocks)}
    return render(request, "monitoring/symptoms.html", shown)


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def score_round(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Score a round's bags, or correct their scores."""
    found = round_for(member, round_uuid)
    today = timezone.localdate(timezone=member.farm_group.zone)
    form = ScoresForm(
        request.POST if request.method == "POST" else None,
        bags=list(bags_of_round(found)),
        scale=services.scale_today(member, today),
        member=member,
        today=today,
    )
    if request.method == "POST" and form.is_valid():
        try:
            changed = services.score_bags(member, found, form.scoring())
        except SiteError as error:
            form.refuse(error)
            form.look_again()
        else:
            messages.success(request, services.told(changed))
            return redirect("round", member.farm_group.slug, found.uuid)
    return render(
        request,
        "monitoring/score_round.html",
        {"form": form, "round": found, "shown_block": found.block},
        status=form.status,
    )
