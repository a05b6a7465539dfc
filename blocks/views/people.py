"""The coordinator's page of people."""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from blocks.access import Member, Role, visible_farms
from blocks.models import Farm
from blocks.queries import members_of_group, membership_for
from blocks.services.people import (
    AlreadyMemberError,
    end_membership,
    invite_person,
)
from blocks.views.doors import for_member


class PersonForm(forms.Form):
    """Who is to have a part in the group, and which."""

    name = forms.CharField(max_length=120, label="Name")
    email = forms.EmailField(
        label="E-mail", help_text="They sign in with it, and alerts go there."
    )
    role = forms.ChoiceField(
        choices=Role.choices,
        help_text="A coordinator answers for settings and people; a lab analyst"
        " uploads counts; a consultant reads and receives alerts; a grower sees the"
        " farms ticked below.",
    )
    farms = forms.ModelMultipleChoiceField(
        queryset=Farm.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="For a grower: at least one. For a consultant: none means all farms.",
    )

    def __init__(self, *args: object, member: Member, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # Django's own arguments
        field = self.fields["farms"]
        if isinstance(field, forms.ModelMultipleChoiceField):
            field.queryset = visible_farms(member)

    def clean(self) -> dict[str, object]:
        """Ask for farms where the role goes by farm, and refuse them elsewhere."""
        cleaned = super().clean() or {}
        role, farms = cleaned.get("role"), cleaned.get("farms")
        if role == Role.GROWER and not farms:
            self.add_error("farms", "Tick at least one farm for a grower.")
        if role in {Role.COORDINATOR, Role.LAB} and farms:
            self.add_error(
                "farms", "Coordinators and lab analysts see all farms: tick none."
            )
        return cleaned

    @property
    def farms_granted(self) -> list[Farm] | None:
        """The farms ticked; None for all farms."""
        return list(self.cleaned_data["farms"]) or None


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
