"""The forms of the laboratory's page: one question a line, the range beneath."""

from datetime import date
from typing import Any

from django import forms

from monitoring.models import Organism, Tissue

POSITIONS = ("upper", "mid", "low")
# More than anyone counts, and than a drawing can show.
MOST_CELLS = 5_000


class DateInput(forms.DateInput):
    """A date as browsers ask for it."""

    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class OrganismForm(forms.Form):
    """An organism to count."""

    name = forms.CharField(
        max_length=80, help_text="As on pages and charts, e.g. “spider mites”."
    )
    role = forms.ChoiceField(
        choices=Organism.Role.choices,
        help_text="Predators are set against pests in the predator ratio.",
    )


class DishForm(forms.Form):
    """A gridded dish, measured inside."""

    name = forms.CharField(max_length=60, help_text="As sheets name it.")
    diameter_mm = forms.FloatField(
        label="Inner diameter, mm",
        min_value=20,
        max_value=500,
        help_text="20 to 500. Measure it: a dish sold as 15 cm is often less inside.",
    )
    pitch_mm = forms.FloatField(
        label="Grid pitch, mm",
        min_value=1,
        max_value=500,
        help_text="From one grid line to the next; not more than the diameter.",
    )
    offset_x_mm = forms.FloatField(
        label="Grid offset to the right, mm",
        initial=0,
        min_value=-250,
        max_value=250,
        help_text="0 when a grid line passes through the dish's centre.",
    )
    offset_y_mm = forms.FloatField(
        label="Grid offset downwards, mm", initial=0, min_value=-250, max_value=250
    )

    def clean(self) -> dict[str, Any]:
        """Keep the pitch within the dish."""
        cleaned = super().clean() or {}
        diameter, pitch = cleaned.get("diameter_mm"), cleaned.get("pitch_mm")
        if diameter and pitch and pitch > diameter:
            self.add_error(
                "pitch_mm", f"{pitch:g} mm is more than the dish's {diameter:g} mm."
            )
        elif diameter and pitch and (diameter / pitch) ** 2 > MOST_CELLS:
            self.add_error(
                "pitch_mm",
                f"A pitch of {pitch:g} mm cuts the dish into more than {MOST_CELLS:,}"
                " cells. Measure it again, in millimetres.",
            )
        return cleaned


class RecoveryForm(forms.Form):
    """The share of animals that one wash brings off: one value, or a range."""

    organism = forms.ModelChoiceField(queryset=Organism.objects.none())
    tissue = forms.ChoiceField(choices=Tissue.choices)
    fixed_value = forms.FloatField(
        label="One value",
        required=False,
        min_value=0.01,
        max_value=1,
        help_text="0.01 to 1. 1 means that nothing is left behind. Or leave it empty"
        " and give a range:",
    )
    low = forms.FloatField(
        label="Range from",
        required=False,
        min_value=0.01,
        max_value=0.99,
        help_text="The range that holds 95 times in 100.",
    )
    high = forms.FloatField(
        label="Range to", required=False, min_value=0.01, max_value=0.99
    )
    valid_from = forms.DateField(
        label="For rounds from",
        widget=DateInput,
        help_text="Densities of rounds from this date on are computed again.",
    )
    note = forms.CharField(
        max_length=300, help_text="Where the figures come from, for whoever asks."
    )

    def __init__(
        self, *args: Any, organisms: list[Organism], today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["organism"]
        if isinstance(field, forms.ModelChoiceField) and organisms:
            field.queryset = Organism.objects.for_group(
                organisms[0].farm_group_id
            ).order_by("position")
        self.fields["valid_from"].initial = today

    def clean(self) -> dict[str, Any]:
        """Ask for one value or for a range, not both and not neither."""
        cleaned = super().clean() or {}
        fixed = cleaned.get("fixed_value") is not None
        ends = [cleaned.get("low") is not None, cleaned.get("high") is not None]
        if self.errors:
            return cleaned
        if fixed == any(ends):
            self.add_error("fixed_value", "Give one value, or a range, not both.")
        elif not fixed and not all(ends):
            self.add_error("high", "A range has two ends.")
        elif not fixed and cleaned["low"] >= cleaned["high"]:
            self.add_error("high", "The upper end must be above the lower.")
        return cleaned


class CanopyWeightsForm(forms.Form):
    """The share of a canopy's leaves in each position."""

    upper = forms.FloatField(label="Upper", min_value=0, max_value=1)
    mid = forms.FloatField(label="Mid", min_value=0, max_value=1)
    low = forms.FloatField(
        label="Low",
        min_value=0,
        max_value=1,
        help_text="Shares of leaves, not of bags; together 1.",
    )
    valid_from = forms.DateField(label="For rounds from", widget=DateInput)

    def shares(self) -> dict[str, float]:
        """Give the shares by position."""
        return {position: self.cleaned_data[position] for position in POSITIONS}


class RatioSettingForm(forms.Form):
    """Whether predators and prey come off a leaf alike."""

    shared = forms.ChoiceField(
        label="In one wash, predators and prey come off",
        widget=forms.RadioSelect,
        choices=[
            ("no", "each in their own share: the recoveries are independent"),
            ("yes", "alike: their recovery is one and the same, and cancels"),
        ],
        help_text="Alike makes the ratio's interval narrower; state it only if you"
        " know it. It holds where both recoveries have the same figures.",
    )
    note = forms.CharField(
        max_length=300, help_text="What it rests on, for whoever asks."
    )
    valid_from = forms.DateField(
        label="For rounds from",
        widget=DateInput,
        help_text="Ratios of rounds from this date on are computed again.",
    )


class SymptomScaleForm(forms.Form):
    """The scores for symptoms on a leaf."""

    lowest = forms.IntegerField(min_value=0, max_value=99)
    highest = forms.IntegerField(
        min_value=1, max_value=100, help_text="Above the lowest; 4 to begin with."
    )
    level_names = forms.CharField(
        label="Names of the scores",
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text="One a line, from the lowest score up, e.g. “clean”; all of them, or"
        " none.",
    )
    wording = forms.CharField(
        label="How to judge",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Whatever helps two people to score alike.",
    )
    valid_from = forms.DateField(label="For sheets from", widget=DateInput)

    def clean_level_names(self) -> list[str]:
        """Give one name a line, without empty lines at the ends."""
        text = str(self.cleaned_data["level_names"]).strip()
        return [line.strip() for line in text.splitlines()] if text else []


class AgreementStandardForm(forms.Form):
    """The agreement between counters that the lab asks for."""

    least_concordance = forms.FloatField(
        label="Concordance at least",
        min_value=0.01,
        max_value=0.99,
        help_text="0.01 to 0.99; 1 would be the same figure always. 0.9 is often taken"
        " as a goal of training (common practice).",
    )
    widest_ratio = forms.FloatField(
        label="95 in 100 second readings within so many times the first",
        min_value=1.01,
        max_value=100,
        help_text="1.01 to 100. 1.5 means from two thirds of the first reading to one"
        " and a half times it.",
    )
    valid_from = forms.DateField(label="Asked for from", widget=DateInput)
    note = forms.CharField(
        required=False,
        max_length=300,
        help_text="Why these figures, for whoever asks.",
    )


class WithdrawBlankForm(forms.Form):
    """Why a blank wash no longer stands."""

    why = forms.CharField(
        label="Why it does not stand",
        max_length=300,
        help_text="It stays in the list, struck out, with this sentence.",
    )
