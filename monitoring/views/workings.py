"""The pages that show where a figure comes from."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from blocks.access import Member
from blocks.views.doors import for_member
from monitoring.densities.ratio_working import ratio_working
from monitoring.densities.working import working_of
from monitoring.pages.method_words import method_words
from monitoring.pages.washing_page import round_washing
from monitoring.queries.calibrations import recovery_of_density
from monitoring.queries.rounds import densities_of_ratio, positions_of
from monitoring.queries.seasons import density_for, ratio_for
from monitoring.queries.washing import protocols_of, washes_of_round
from monitoring.recoveries.alone import recovery_alone, runs_behind


@require_safe
@for_member()
def density(
    request: HttpRequest, member: Member, *, density_uuid: UUID
) -> HttpResponse:
    """Show a density's working: counts, cells, dish, recovery, method."""
    found = density_for(member, density_uuid)
    return render(
        request,
        "monitoring/density.html",
        {
            "density": found,
            "working": working_of(found),
            "method": method_words(found),
            "recovery_alone": recovery_alone(found),
            "recovery_runs": runs_behind(recovery_of_density(found)),
            "positions": [] if found.stratum else positions_of(found),
            "washing": round_washing(
                washes_of_round(found.round, tissue=found.tissue, first_only=True),
                list(protocols_of(member.group_id)),
                found.round.collected_on,
            ),
            "shown_block": found.round.block,
        },
    )


@require_safe
@for_member()
def ratio(request: HttpRequest, member: Member, *, ratio_uuid: UUID) -> HttpResponse:
    """Show a ratio's working, which is that of its two densities."""
    found = ratio_for(member, ratio_uuid)
    return render(
        request,
        "monitoring/ratio.html",
        {
            "ratio": found,
            "densities": densities_of_ratio(found),
            "working": ratio_working(found),
            "shown_block": found.round.block,
        },
    )
