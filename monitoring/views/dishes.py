"""The pages on counting a dish in parts: which cells next, and a tally's working."""

import secrets
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from blocks.access import COUNTERS, Member
from blocks.views.doors import for_member
from monitoring.dish_forms import LARGEST_SEED, CellsForm
from monitoring.pages.dish_cells_page import CellsAsked, cells_page, grid_of
from monitoring.pages.tally_page import tally_page
from monitoring.queries.laboratory import dish_for
from monitoring.queries.tallies import tally_for

REFUSED = 422


@require_safe
@for_member(*COUNTERS)
def next_cells(
    request: HttpRequest, member: Member, *, dish_uuid: UUID
) -> HttpResponse:
    """Say which cells to look at next, how many, and what they buy."""
    dish = dish_for(member.farm_group, dish_uuid)
    # Nothing is kept: the order comes back with its number.
    fresh = CellsAsked(seed=secrets.randbelow(LARGEST_SEED + 1), cv=0.15, pilot=10)
    form = CellsForm(
        request.GET if "seed" in request.GET else None,
        cells_in_dish=len(grid_of(dish).cell_names),
        initial={"seed": fresh.seed},
    )
    asked = form.asked() if form.is_valid() else None
    page = None if form.errors else cells_page(dish, asked or fresh)
    return render(
        request,
        "monitoring/next_cells.html",
        {"dish": dish, "form": form, "page": page, "asked": asked or fresh},
        status=REFUSED if form.errors else 200,
    )


@require_safe
@for_member()
def tally(request: HttpRequest, member: Member, *, tally_uuid: UUID) -> HttpResponse:
    """Show how the animals in a dish follow from the cells looked at."""
    found = tally_for(member, tally_uuid)
    return render(
        request,
        "monitoring/tally.html",
        {
            "tally": found,
            "page": tally_page(found),
            "shown_block": found.wash.bag.round.block,
        },
    )
