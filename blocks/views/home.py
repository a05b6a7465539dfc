"""The first page after signing in."""

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from blocks.access import memberships_of, signed_in


@require_safe
@login_required
def home(request: HttpRequest) -> HttpResponse:
    """Go to the person's farm group, or list them when there are several."""
    memberships = memberships_of(signed_in(request.user))
    if len(memberships) == 1:
        return redirect("group", group_slug=memberships[0].farm_group.slug)
    return render(request, "blocks/home.html", {"memberships": memberships})
