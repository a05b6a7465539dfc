"""The forms of people and blocks: one question a line, the range beneath."""

from django import forms
from django.utils import timezone

from blocks.access import Member, Role, visible_farms
from blocks.models import Block, Farm


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


class DateInput(forms.DateInput):
    """A date as browsers ask for it."""

    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class BoundaryForm(forms.Form):
    """A boundary file, and where its blocks go."""

    file = forms.FileField(
        label="Boundary file",
        help_text="GeoJSON, a zipped Shapefile, KML or GeoPackage, up to 20 MB.",
        error_messages={
            "required": "Choose a file first.",
            "empty": "The file is empty. Choose the one with the shapes.",
        },
    )
    farm = forms.ModelChoiceField(
        queryset=Farm.objects.none(),
        required=False,
        empty_label="as the file says",
        help_text="Where shapes go that name no farm of this group.",
    )
    valid_from = forms.DateField(
        label="Boundaries hold from",
        widget=DateInput,
        help_text="Rounds before it keep the boundary of their day.",
    )

    def __init__(self, *args: object, member: Member, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]  # Django's own arguments
        farms = self.fields["farm"]
        if isinstance(farms, forms.ModelChoiceField):
            farms.queryset = visible_farms(member)
        self.fields["valid_from"].initial = timezone.localdate(
            timezone=member.farm_group.zone
        )


class BlockForm(forms.Form):
    """What is known of a block besides its boundary."""

    cultivar = forms.CharField(required=False, max_length=120)
    planting_year = forms.IntegerField(
        required=False, min_value=1700, max_value=2200, help_text="Such as 2009."
    )
    row_spacing_m = forms.FloatField(
        label="Rows apart, m",
        required=False,
        min_value=0.1,
        max_value=20,
        help_text="0.1 to 20; mostly 1.5 to 3.",
    )
    vine_spacing_m = forms.FloatField(
        label="Vines apart in the row, m",
        required=False,
        min_value=0.1,
        max_value=20,
        help_text="0.1 to 20; mostly 0.8 to 2.",
    )
    row_direction_deg = forms.FloatField(
        label="Rows run, degrees from north",
        required=False,
        min_value=0,
        max_value=179.999,
        help_text="0 to under 180, clockwise; 90 is east to west.",
    )

    def __init__(self, *args: object, block: Block, **kwargs: object) -> None:
        initial = {name: getattr(block, name) for name in self.base_fields}
        super().__init__(*args, initial=initial, **kwargs)  # type: ignore[arg-type, misc]  # Django's own arguments
