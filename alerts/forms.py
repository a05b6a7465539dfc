"""The form of a threshold."""

import re
from math import inf
from typing import Any

from django import forms

from alerts.models import ThresholdVersion
from alerts.queries import may_rule
from alerts.services.thresholds import Values
from blocks.access import Member, visible_blocks, visible_farms
from blocks.errors import SiteError
from blocks.models import Block, Farm
from monitoring.models import Organism, Tissue
from monitoring.queries.seasons import organisms_of_group

NOT_A_NUMBER = "Write a number, such as 150, without a unit."
NEGATIVE = "Write 0 or more."
MONTH_DAY = re.compile(r"(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])")
DENSITY = "density"
RATIO = "ratio"


def _inverse(value: float) -> float:
    """Give prey to one predator for a ratio, and back; no limit for 0."""
    return 1 / value if value else inf


class ValuesForm(forms.Form):
    """What a threshold says."""

    level = forms.FloatField(
        label="Threshold",
        min_value=0,
        max_value=1e6,
        error_messages={"invalid": NOT_A_NUMBER, "min_value": NEGATIVE},
        help_text="Animals per leaf, shoot or bud. For a predator ratio: prey to one"
        " predator, such as 200.",
    )
    clear_level = forms.FloatField(
        label="Clear level",
        required=False,
        min_value=0,
        max_value=1e7,
        error_messages={"invalid": NOT_A_NUMBER, "min_value": NEGATIVE},
        help_text="The alert ends below it; it must lie below the threshold (fewer"
        " prey to one predator, for a ratio). Empty: seven tenths of the threshold.",
    )
    certainty = forms.IntegerField(
        label="Raise at, in 100",
        initial=80,
        min_value=1,
        max_value=99,
        help_text="How sure it must be that the threshold is crossed; 80 is usual.",
    )
    clear_certainty = forms.IntegerField(
        label="Clear under, in 100",
        initial=50,
        min_value=1,
        max_value=99,
        help_text="The chance of still being beyond the clear level; 50 is usual.",
    )
    raise_rounds = forms.IntegerField(
        label="Rounds running to raise", initial=1, min_value=1, max_value=10
    )
    clear_rounds = forms.IntegerField(
        label="Rounds running to clear", initial=2, min_value=1, max_value=10
    )
    minimum_bags = forms.IntegerField(
        label="Fewest bags",
        initial=5,
        min_value=1,
        max_value=500,
        help_text="Rounds with fewer bags counted judge nothing; 5 is usual.",
    )
    season_from = forms.CharField(
        label="Season from", initial="01-01", help_text="Month and day, such as 05-01."
    )
    season_until = forms.CharField(
        label="Season until",
        initial="12-31",
        help_text="Month and day; it may lie in the next year.",
    )
    reason = forms.CharField(
        required=False, max_length=300, help_text="Kept in the history."
    )

    # Of the answer that shows the form; set when the service refuses.
    refused_with = 0

    @property
    def status(self) -> int:
        """The HTTP status of the page that shows the form."""
        return self.refused_with or (422 if self.errors else 200)

    def refuse(self, error: SiteError) -> None:
        """Show a service's refusal, beside the field where it names one."""
        self.refused_with = error.status
        self.add_error(getattr(error, "field", None), error.sentence)

    def _month_day(self, name: str) -> str:
        text: str = self.cleaned_data[name].strip()
        if not MONTH_DAY.fullmatch(text):
            raise forms.ValidationError(
                f"“{text}” is not a month and a day; write it as 05-01."
            )
        return text

    def clean_season_from(self) -> str:
        """Read the first day."""
        return self._month_day("season_from")

    def clean_season_until(self) -> str:
        """Read the last day."""
        return self._month_day("season_until")

    def values(self, *, is_ratio: bool) -> Values:
        """Give what was filled in; a ratio is asked as prey to one predator."""
        given = self.cleaned_data
        level, clear = given["level"], given["clear_level"]
        if is_ratio:
            level = _inverse(level)
            clear = None if clear is None else _inverse(clear)
        return Values(
            level=level,
            clear_level=clear,
            certainty=given["certainty"] / 100,
            clear_certainty=given["clear_certainty"] / 100,
            raise_rounds=given["raise_rounds"],
            clear_rounds=given["clear_rounds"],
            minimum_bags=given["minimum_bags"],
            season_from=given["season_from"],
            season_until=given["season_until"],
        )


def initial_of(version: ThresholdVersion) -> dict[str, Any]:
    """Give a version's values as the form asks for them."""
    ratio = version.threshold.is_ratio
    level, clear = version.level, version.clear_level
    return {
        "level": float(f"{_inverse(level):.6g}") if ratio else level,
        "clear_level": float(f"{_inverse(clear):.6g}") if ratio else clear,
        "certainty": round(version.certainty * 100),
        "clear_certainty": round(version.clear_certainty * 100),
        "raise_rounds": version.raise_rounds,
        "clear_rounds": version.clear_rounds,
        "minimum_bags": version.minimum_bags,
        "season_from": version.season_from,
        "season_until": version.season_until,
    }


class RemovalForm(forms.Form):
    """Why a threshold is removed."""

    reason = forms.CharField(
        label="Why it is removed",
        required=False,
        max_length=300,
        help_text="Kept in the history.",
    )


class ThresholdForm(ValuesForm):
    """A threshold that is not there yet: where, what, and its values."""

    farm = forms.ModelChoiceField(
        queryset=Farm.objects.none(),
        required=False,
        empty_label="all farms",
        help_text="A farm's threshold wins over that for all farms.",
    )
    block = forms.ModelChoiceField(
        queryset=Block.objects.none(),
        required=False,
        empty_label="all blocks there",
        help_text="A block's threshold wins over its farm's.",
    )
    tissue = forms.ChoiceField(choices=Tissue.choices)
    kind = forms.ChoiceField(
        label="Watch",
        choices=[(DENSITY, "a density"), (RATIO, "a predator ratio")],
    )
    organism = forms.ModelChoiceField(
        queryset=Organism.objects.none(), help_text="For a ratio: the predator."
    )
    prey = forms.ModelChoiceField(
        queryset=Organism.objects.none(), required=False, help_text="For a ratio only."
    )
    field_order = ("farm", "block", "tissue", "kind", "organism", "prey")

    def __init__(self, *args: Any, member: Member, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        organisms = organisms_of_group(member.group_id)
        for name, queryset in (
            ("farm", visible_farms(member)),
            ("block", visible_blocks(member)),
            ("organism", organisms),
            ("prey", organisms),
        ):
            field = self.fields[name]
            if isinstance(field, forms.ModelChoiceField):
                field.queryset = queryset
        self.sees_all = may_rule(member, farm_id=None)
        if not self.sees_all:
            self.fields["farm"].help_text = "Choose one of your farms, or a block."

    def clean(self) -> dict[str, Any]:
        """Ask for prey with a ratio, and for a farm or a block of it."""
        cleaned = super().clean() or {}
        if cleaned.get("kind") == RATIO and not cleaned.get("prey"):
            self.add_error("prey", "A ratio needs a prey.")
        if cleaned.get("kind") == DENSITY:
            cleaned["prey"] = None
        farm, block = cleaned.get("farm"), cleaned.get("block")
        if block and farm and block.farm_id != farm.pk:
            self.add_error("block", f"{block.name} is not a block of {farm.name}.")
        if not (self.sees_all or farm or block or self.errors):
            self.add_error("farm", "Choose one of your farms, or a block.")
        if block:
            cleaned["farm"] = None
        return cleaned
