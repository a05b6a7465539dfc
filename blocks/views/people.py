"""The coordinator's page of people."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from blocks.access import Member, Role
from blocks.forms import PersonForm
from blocks.queries import members_of_group, membership_for
from blocks.services.people import (
    AlreadyMemberError,
    end_membership,
    invite_person,
)
from blocks.views.doors import for_member


@require_http_methods(["GET", "HEAD", "POST"])
@for_member(Role.COORDINATOR)
def people(request: HttpRequest, member: Member) -> HttpResponse:
    """List the group's people, and add one."""
    form = PersonForm(request.POST or None, member=member)
    if request.method == "POST" and form.is_valid():
        try:
            invite_person(
                member,
                email=form.cleaned_data["email"],
                name=form.cleaned_data["name"],
                role=Role(form.cleaned_data["role"]),
                farms=form.farms_granted,
            )
        except AlreadyMemberError as error:
            form.add_error("email", error.sentence)
        else:
            messages.success(
                request,
                f"{form.cleaned_data['name']} has a part now. A new person sets a"
                " password through “Forgotten password” on the sign-in page.",
            )
            return redirect("people", group_slug=member.farm_group.slug)
    return render(
        request,
        "blocks/people.html",
        {"form": form, "memberships": members_of_group(member.farm_group)},
        status=422 if form.errors else 200,
    )


@require_POST
@for_member(Role.COORDINATOR)
def end_part(
    request: HttpRequest, member: Member, *, membership_uuid: UUID
) -> HttpResponse:
    """End a person's part in the group."""
    membership = membership_for(member.farm_group, membership_uuid)
    end_membership(
        member, membership, today=timezone.localdate(timezone=member.farm_group.zone)
    )
    messages.success(request, f"{membership.user} has no part in this group any more.")
    return redirect("people", group_slug=member.farm_group.slug)
