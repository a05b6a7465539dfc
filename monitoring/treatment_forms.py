"""The forms of treatments: one question a line, what is expected beneath."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet

from blocks.errors import SiteError
from blocks.models import Block
from monitoring.models import TreatedBlock, Treatment
from monitoring.services.treatments import Done

NOT_A_NUMBER = "Write a number, such as 2.5, without its unit."
NO_SUCH_BLOCK = "That is no block of this farm. Choose from the list."
NOT_A_DATE = "Write the date as 2026-08-14."
EARLIEST = date(1950, 1, 1)


class RefusableForm(forms.Form):
    """A form that can show a service's refusal beside the field it belongs to."""

    # Of the answer that shows the form; set when the service refuses.
    refused_with = 0

    @property
    def status(self) -> int:
        """The HTTP status of the page that shows the form."""
        return self.refused_with or (422 if self.errors else 200)

    def refuse(self, error: SiteError) -> None:
        """Show a service's refusal."""
        self.refused_with = error.status
        named = getattr(error, "field", None)
        self.add_error(named if named in self.fields else None, error.sentence)


def _blocks_field(
    *, label: str, help_text: str
) -> "forms.ModelMultipleChoiceField[Block]":
    """Make boxes to tick, one a block; which blocks is set when the form is made."""
    return forms.ModelMultipleChoiceField(
        label=label,
        help_text=help_text,
        queryset=Block.objects.none(),
        required=False,
        to_field_name="uuid",
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        error_messages={
            "invalid_choice": NO_SUCH_BLOCK,
            "invalid_pk_value": NO_SUCH_BLOCK,
        },
    )


class TreatmentForm(RefusableForm):
    """What was done, where, by whom."""

    treated_on = forms.DateField(
        label="Date",
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={"invalid": NOT_A_DATE},
        help_text="The day of the treatment, by the farm's calendar.",
    )
    treated = _blocks_field(
        label="Blocks treated",
        help_text="All that were treated alike on this day.",
    )
    checks = _blocks_field(
        label="Blocks left untreated as a check",
        help_text="Only blocks like the treated ones: cultivar, slope and mites before"
        " the treatment. Without a check, what the treatment did cannot be told from"
        " what the season did.",
    )
    category = forms.ChoiceField(
        label="Kind of product",
        choices=[("", "Choose"), *Treatment.Category.choices],
        error_messages={"invalid_choice": "Choose a kind from the list."},
    )
    active_ingredient = forms.CharField(
        max_length=120,
        help_text="The substance named on the label, such as wettable sulfur, not the"
        " trade name; for a biological, the species.",
    )
    rate = forms.FloatField(
        required=False,
        min_value=0.000001,
        max_value=1e6,
        error_messages={
            "invalid": NOT_A_NUMBER,
            "min_value": "A rate is above 0. Leave it empty if it is not known.",
            "max_value": "That rate cannot be. Look at its unit.",
        },
        help_text="Of the product as it is sold. Empty if not known.",
    )
    rate_unit = forms.ChoiceField(
        label="Unit of the rate",
        required=False,
        choices=[("", "None"), *Treatment.RateUnit.choices],
        error_messages={"invalid_choice": "Choose a unit from the list."},
    )
    operator = forms.CharField(
        required=False, max_length=120, help_text="Who did it, by name or team."
    )
    note = forms.CharField(
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Weather, water volume, what it was meant for.",
    )

    def __init__(
        self, data: Mapping[str, Any] | None, *, blocks: QuerySet[Block], **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        for name in ("treated", "checks"):
            field = self.fields[name]
            if isinstance(field, forms.ModelMultipleChoiceField):
                field.queryset = blocks

    def clean_treated_on(self) -> date:
        """Refuse dates before anybody kept records here."""
        day: date = self.cleaned_data["treated_on"]
        if day < EARLIEST:
            raise forms.ValidationError(
                f"{day.isoformat()} is too long ago. Look at the year."
            )
        return day

    def done(self) -> Done:
        """Give what was filled in."""
        given = self.cleaned_data
        return Done(
            treated_on=given["treated_on"],
            category=Treatment.Category(given["category"]),
            active_ingredient=given["active_ingredient"],
            treated=list(given["treated"]),
            checks=list(given["checks"]),
            rate=given["rate"],
            rate_unit=given["rate_unit"],
            operator=given["operator"],
            note=given["note"],
        )


class CorrectionForm(TreatmentForm):
    """What a treatment should have said, and why it did not."""

    reason = forms.CharField(
        label="Why is it corrected?",
        max_length=300,
        help_text="Kept beside the first record, which stays to be seen.",
    )


class WithdrawalForm(RefusableForm):
    """Why a recorded treatment never was."""

    reason = forms.CharField(
        label="Why was it recorded, though it was not done?", max_length=300
    )


class WindowForm(forms.Form):
    """Which rounds are set against each other on the page of an efficacy."""

    before = forms.IntegerField(
        label="Days before, at most",
        initial=14,
        min_value=0,
        max_value=90,
        help_text="0 to 90.",
    )
    after = forms.IntegerField(
        label="Days after, at most",
        initial=28,
        min_value=1,
        max_value=120,
        help_text="1 to 120.",
    )
    apart = forms.IntegerField(
        label="Days between block and check",
        initial=5,
        min_value=0,
        max_value=30,
        help_text="0 to 30.",
    )
    above = forms.FloatField(
        label="Chance above, percent",
        initial=50,
        min_value=-1000,
        max_value=99.9,
        help_text="Up to 99.9.",
    )

    def asked(self) -> dict[str, float]:
        """Give what was filled in, and the usual value where it cannot be."""
        usual = {name: field.initial for name, field in self.fields.items()}
        if not self.is_bound:
            return usual
        self.full_clean()
        return usual | {
            name: value
            for name, value in self.cleaned_data.items()
            if value is not None
        }


def initial_of(treatment: Treatment) -> dict[str, Any]:
    """Give a treatment's values as the form asks for them."""
    parts: dict[str, list[str]] = {"treated": [], "check": []}
    for row in treatment.parts.all():
        parts[row.part].append(str(row.block.uuid))
    return {
        "treated_on": treatment.treated_on,
        "treated": parts[TreatedBlock.Part.TREATED],
        "checks": parts[TreatedBlock.Part.CHECK],
        "category": treatment.category,
        "active_ingredient": treatment.active_ingredient,
        "rate": treatment.rate,
        "rate_unit": treatment.rate_unit,
        "operator": treatment.operator,
        "note": treatment.note,
    }
