"""The forms of people and blocks: one question a line, the range beneath."""

from django import forms

from blocks.access import Member, Role, visible_farms
from blocks.models import Farm


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
