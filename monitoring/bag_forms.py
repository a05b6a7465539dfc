"""The forms of bags: making them, moving them, printing labels, settings."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.http import QueryDict

from monitoring.labels.papers import paper_of
from monitoring.laboratory_forms import POSITIONS, DateInput
from monitoring.models import Bag, BagSetting, Tissue
from monitoring.services.bags import MOST_BAGS, Wanted
from monitoring.treatment_forms import NOT_A_DATE, RefusableForm

WHOLE_NUMBER = {"invalid": "Write a whole number, such as 5."}
NOT_OF_ROUND = "One of the bags is not of this round. Load the page again."
# Plans further off than this are slips of the hand.
FURTHEST = timedelta(days=366)


class MakeBagsForm(RefusableForm):
    """How many bags of which tissue, by canopy position."""

    tissue = forms.ChoiceField(label="Tissue", choices=Tissue.choices, initial="leaf")
    upper = forms.IntegerField(label="Bags from the upper canopy")
    mid = forms.IntegerField(label="Bags from the mid canopy")
    low = forms.IntegerField(label="Bags from the low canopy")
    anywhere = forms.IntegerField(
        label="Bags without a position",
        help_text="For shoots and buds; a leaf needs its position.",
    )
    units = forms.IntegerField(
        label="Leaves, shoots or buds in a bag",
        initial=1,
        min_value=1,
        max_value=1000,
        error_messages=WHOLE_NUMBER,
    )

    def __init__(self, data: Any = None, *, today: date, with_day: bool) -> None:
        super().__init__(data)
        self.today = today
        for name in (*POSITIONS, "anywhere"):
            self.fields[name] = forms.IntegerField(
                label=self.fields[name].label,
                help_text=self.fields[name].help_text,
                required=False,
                min_value=0,
                max_value=MOST_BAGS,
                initial=0,
                error_messages=WHOLE_NUMBER,
            )
        if with_day:
            self.fields["day"] = forms.DateField(
                label="Date of the round",
                widget=DateInput,
                initial=today,
                error_messages={"invalid": NOT_A_DATE},
                help_text="The day on which the leaves are picked.",
            )
            self.order_fields(["day"])

    def clean_day(self) -> date:
        """Keep plans within a year from today."""
        day: date = self.cleaned_data["day"]
        if abs(day - self.today) > FURTHEST:
            raise forms.ValidationError(
                f"{day:%Y-%m-%d} is more than a year from today. Look at the year."
            )
        return day

    def wanted(self) -> Wanted:
        """Give what was filled in."""
        given = self.cleaned_data
        numbers = {name: given.get(name) or 0 for name in POSITIONS}
        return Wanted(
            tissue=given["tissue"],
            numbers=numbers | {"": given.get("anywhere") or 0},
            units=given["units"],
        )


class MoveForm(RefusableForm):
    """A step of a bag, with a note where there is something to say."""

    way = forms.ChoiceField(choices=Bag.Way.choices, widget=forms.HiddenInput)
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=300,
        help_text="Kept with the step; needed where a bag goes back a step.",
    )


class MoveBagsForm(MoveForm):
    """A step of many bags of a round at once."""

    def __init__(self, data: QueryDict | None = None, *, bags: Sequence[Bag]) -> None:
        super().__init__(data)
        self.of_round = {str(bag.uuid): bag for bag in bags}
        self.ticked = set(data.getlist("bags")) if data is not None else set()
        self.fields["bags"] = forms.MultipleChoiceField(
            choices=[(key, bag.code) for key, bag in self.of_round.items()],
            error_messages={
                "required": "Tick the bags that you mean.",
                "invalid_choice": NOT_OF_ROUND,
                "invalid_list": NOT_OF_ROUND,
            },
        )
        self.fields["way"].error_messages["required"] = "Say what the bags are now."

    def chosen(self) -> list[int]:
        """Give the keys in the database of the bags that were ticked."""
        return [self.of_round[key].pk for key in self.cleaned_data["bags"]]


class PrintForm(RefusableForm):
    """On which paper, and from which label on."""

    paper = forms.ChoiceField(label="Labels", choices=BagSetting.Paper.choices)
    first = forms.IntegerField(
        label="First free label",
        required=False,
        min_value=1,
        error_messages=WHOLE_NUMBER,
        help_text="1 on a fresh sheet; counted row by row, from the left. Rolls begin"
        " at 1.",
    )
    waiting = forms.BooleanField(
        label="Only bags still planned",
        required=False,
        help_text="Leave it empty to print the labels of all bags of the round.",
    )

    def __init__(self, data: Any = None, *, setting: BagSetting) -> None:
        super().__init__(data)
        self.setting = setting
        self.fields["paper"].initial = setting.paper
        self.fields["first"].initial = 1

    def clean(self) -> dict[str, Any]:
        """Keep the first label on the sheet."""
        cleaned = super().clean() or {}
        first = cleaned.get("first") or 1
        roll_mm = (self.setting.roll_width_mm, self.setting.roll_height_mm)
        on_page = paper_of(cleaned.get("paper", ""), roll_mm=roll_mm).labels
        if "paper" in cleaned and first > on_page:
            self.add_error(
                "first",
                f"A page has labels 1 to {on_page}. Give the first one that is free.",
            )
        return cleaned | {"first": first}


def _number(
    kind: type[forms.IntegerField] | type[forms.FloatField],
    label: str,
    between: tuple[int, int],
    hint: str,
) -> forms.IntegerField:
    least, most = between
    range_words = f"Write {least} to {most}."
    return kind(
        label=label,
        help_text=hint,
        min_value=least,
        max_value=most,
        error_messages={
            "invalid": "Write a number, without its unit.",
            "min_value": range_words,
            "max_value": range_words,
        },
    )


class BagSettingForm(RefusableForm):
    """What labels are printed on, and how long bags may wait."""

    paper = forms.ChoiceField(
        label="Labels are printed on", choices=BagSetting.Paper.choices
    )
    roll_width_mm = _number(
        forms.FloatField,
        "Width of a roll's label, mm",
        (30, 110),
        "30 to 110; for rolls only.",
    )
    roll_height_mm = _number(
        forms.FloatField,
        "Height of a roll's label, mm",
        (20, 110),
        "20 to 110; for rolls only.",
    )
    wash_within_days = _number(
        forms.IntegerField,
        "Days until a leaf should be washed",
        (1, 365),
        "From its picking. Common practice: about 3, kept cool.",
    )
    count_within_days = _number(
        forms.IntegerField,
        "Days until what was washed off should be counted",
        (1, 365),
        "From its wash. Common practice: about 7, in its alcohol.",
    )
