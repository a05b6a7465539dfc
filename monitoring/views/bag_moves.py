"""The page that takes many bags of a round a step on at once."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from blocks.access import COUNTERS, Member
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.bag_forms import MoveBagsForm
from monitoring.pages.bag_moving import moving_page
from monitoring.queries import bags as queries
from monitoring.queries.seasons import round_for
from monitoring.services.bag_ways import move_bags
from monitoring.words import bags as so_many_bags


@require_http_methods(["GET", "HEAD", "POST"])
@for_member(*COUNTERS)
def move_many(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Take the ticked bags of a round one step on, or none of them."""
    found = round_for(member, round_uuid)
    bags = list(queries.of_round(found))
    form = MoveBagsForm(request.POST if request.method == "POST" else None, bags=bags)
    if request.method == "POST" and form.is_valid():
        way, note = form.cleaned_data["way"], form.cleaned_data["note"]
        try:
            moved = move_bags(member, form.chosen(), way, note=note)
        except SiteError as error:
            form.refuse(error)
        else:
            verb = "is" if len(moved) == 1 else "are"
            words = moved[0].get_way_display()
            messages.success(request, f"{so_many_bags(len(moved))} {verb} {words} now.")
            return redirect("move-bags", member.farm_group.slug, found.uuid)
    page = moving_page(bags, request.GET.get("way", ""))
    every = form.ticked or (
        {str(bag.uuid) for bag in page.bags} if "all" in request.GET else set()
    )
    return render(
        request,
        "monitoring/move_bags.html",
        {
            "page": page,
            "form": form,
            "ticked": every,
            "round": found,
            "shown_block": found.block,
        },
        status=form.status,
    )
