"""When a block's density crosses its threshold, and how well that was told before."""

from datetime import date
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from blocks.access import Member, block_for
from blocks.views.doors import for_member
from monitoring.forecasts.series import Subject, read_series
from monitoring.forecasts.simulated import stored_backtest
from monitoring.pages.backtest_page import own_backtest
from monitoring.pages.forecast_page import choices_of, forecast_page
from monitoring.queries.seasons import organisms_of_group
from monitoring.thresholds import thresholds_in_force


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


@require_safe
@for_member()
def forecast(request: HttpRequest, member: Member, *, block_uuid: UUID) -> HttpResponse:
    """Show when a block's density is forecast to cross its threshold."""
    found = block_for(member, block_uuid)
    organisms = {one.pk: one for one in organisms_of_group(member.group_id)}
    choices = choices_of(thresholds_in_force(member.group_id, [found.pk]), organisms)
    asked = request.GET.get("of", "")
    choice = next((one for one in choices if one.key == asked), None)
    shown: dict[str, Any] = {
        "shown_block": found,
        "choices": choices,
        "unknown": asked if asked and choice is None else "",
    }
    if choices:
        choice = choice or choices[0]
        threshold = choice.threshold
        subject = Subject(found.pk, threshold.tissue, threshold.organism_id)
        series = read_series(member.group_id, [found.pk], {subject})
        shown["page"] = forecast_page(found, choice, series, today=_today(member))
    return render(request, "monitoring/forecast.html", shown)


@require_safe
@for_member()
def forecast_backtest(request: HttpRequest, member: Member) -> HttpResponse:
    """Show how often forecasts hold: on simulated seasons, and on the group's own."""
    return render(
        request,
        "monitoring/forecast_backtest.html",
        {
            "stored": stored_backtest(),
            "own": own_backtest(member, today=_today(member)),
        },
    )
