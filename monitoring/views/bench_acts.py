"""What waits of acts at benches and in the field: tried again, or settled."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from blocks.access import COUNTERS, Member
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.bench_forms import ReasonForm
from monitoring.queries.bench_acts import act_for
from monitoring.services import bench_acts as services


@require_POST
@for_member(*COUNTERS)
def see_to(request: HttpRequest, member: Member, *, event_uuid: UUID) -> HttpResponse:
    """Do what waits of an act again, or note that a person saw to it."""
    event, form = act_for(member, event_uuid), ReasonForm(request.POST)
    try:
        if request.POST.get("choice") == "again":
            words = services.try_again(member, event)
            if words:
                messages.error(request, " ".join(words))
            else:
                messages.success(request, "Done; nothing of it waits any more.")
        elif form.is_valid():
            services.settle(member, event, why=form.cleaned_data["why"])
            messages.success(request, "Kept as settled, with your reason.")
        else:
            messages.error(request, form.refusal)
    except SiteError as error:
        messages.error(request, error.sentence)
    return redirect("bench-todo", member.farm_group.slug)
