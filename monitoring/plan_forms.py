"""The forms of planned rounds: one question a line, the range beneath it."""

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from typing import Any

from django import forms

from monitoring.models import Organism, RoundPlan, Tissue
from monitoring.planning.leaves import FEWEST_BAGS, MOST_BAGS, Wish
from monitoring.sheets.checking.values import FaultError
from monitoring.sheets.checking.values import growth_stage as read_stage
from monitoring.treatment_forms import NOT_A_DATE, NOT_A_NUMBER, RefusableForm

POSITIONS = (("low", "low"), ("mid", "mid"), ("upper", "upper"))
# Plans are made for the season at hand, or put down a little late.
EARLIEST_DAYS, LATEST_DAYS = 30, 400
HIGHEST_SEED = 2**31 - 1
NEEDS_NUMBER = {"invalid": NOT_A_NUMBER}


def _date(label: str, text: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        error_messages={"invalid": NOT_A_DATE, "required": "Choose a day."},
        help_text=text,
    )


def near(day: date, today: date) -> date:
    """Refuse days that no plan is made for."""
    first, last = (
        today - timedelta(days=EARLIEST_DAYS),
        today + timedelta(days=LATEST_DAYS),
    )
    if not first <= day <= last:
        raise forms.ValidationError(
            f"{day.isoformat()} is too far away. Choose a day from {first.isoformat()}"
            f" to {last.isoformat()}."
        )
    return day


def _density(label: str, text: str) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        required=False,
        min_value=1e-3,
        max_value=1e6,
        error_messages=NEEDS_NUMBER,
        help_text=text,
    )


class PlanForm(RefusableForm):
    """What a round is planned for, on one block."""

    planned_on = _date("Day of the round", "By the farm's calendar.")
    tissue = forms.ChoiceField(label="What goes into the bags", choices=Tissue.choices)
    organism = forms.ChoiceField(label="Organism that tells how many")
    positions = forms.MultipleChoiceField(
        label="Canopy positions",
        choices=POSITIONS,
        required=False,
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        help_text="A leaf needs one; bags are shared out by your group's canopy"
        " weights, or alike where it has none.",
    )
    growth_stage = forms.CharField(
        required=False,
        max_length=12,
        help_text="Expected on the day, as BBCH 75 or EL 33; blank if not known.",
    )
    aim = forms.ChoiceField(label="Bags enough for", choices=RoundPlan.Aim.choices)
    precision_percent = forms.FloatField(
        label="Precision, % of the mean",
        required=False,
        min_value=5,
        max_value=100,
        error_messages=NEEDS_NUMBER,
        help_text="Standard error over mean, 5 to 100; 25 is common practice.",
    )
    density = _density(
        "Density expected", "For a precision. Blank: the block's newest figure."
    )
    lower = _density("Lower density", "To tell apart. Blank: your clear level.")
    upper = _density("Upper density", "To tell apart. Blank: your threshold.")
    bags = forms.IntegerField(
        label="Bags, if you state the number",
        required=False,
        min_value=FEWEST_BAGS,
        max_value=MOST_BAGS,
        error_messages=NEEDS_NUMBER,
        help_text=f"{FEWEST_BAGS} to {MOST_BAGS}, for “a number that you state”.",
    )
    method = forms.ChoiceField(
        label="Vines chosen",
        choices=RoundPlan.Method.choices,
        help_text="Evenly spread is at random too, but leaves no corner out.",
    )
    same_as = forms.ChoiceField(
        label="The same vines as in",
        required=False,
        help_text="For “the same vines again”: bags and positions are that plan's too.",
    )
    buffer_m = forms.FloatField(
        label="Distance to the block's edge, m",
        min_value=0,
        max_value=500,
        error_messages=NEEDS_NUMBER,
        help_text="0 to 500. About two rows, 5 m, is common practice: edges are unlike"
        " the rest.",
    )
    snapped = forms.BooleanField(
        label="Move points to the rows",
        required=False,
        help_text="By the block's row direction and spacing; rows are laid half a"
        " spacing in from its side, so the real one may stand a step away.",
    )
    seed = forms.IntegerField(
        label="Seed of the draw",
        min_value=0,
        max_value=HIGHEST_SEED,
        error_messages=NEEDS_NUMBER,
        help_text="The same seed draws the same vines; change it for others.",
    )

    def __init__(
        self,
        data: Mapping[str, Any] | None,
        *,
        organisms: Iterable[Organism],
        earlier: Iterable[RoundPlan],
        has_rows: bool,
        today: date,
    ) -> None:
        super().__init__(data)
        self.today = today
        self._choices("organism", [(one.code, one.name) for one in organisms])
        plans = [(str(one.uuid), _earlier_words(one)) for one in earlier]
        self._choices("same_as", [("", "Choose"), *plans])
        if not plans:
            del self.fields["same_as"]
            self._choices("method", list(RoundPlan.Method.choices[:2]))
        if not has_rows:
            del self.fields["snapped"]

    def _choices(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        if isinstance(field, forms.ChoiceField):
            field.choices = choices

    def clean_planned_on(self) -> date:
        """Keep to the season at hand."""
        return near(self.cleaned_data["planned_on"], self.today)

    def clean_growth_stage(self) -> tuple[str, str]:
        """Read the stage as sheets do."""
        written = self.cleaned_data["growth_stage"].strip()
        if not written:
            return "", ""
        try:
            return read_stage(written)
        except FaultError as fault:
            raise forms.ValidationError(fault.sentence) from fault

    def clean(self) -> dict[str, Any]:
        """Ask for what the other answers call for."""
        given = super().clean() or {}
        if given.get("tissue") == Tissue.LEAF and not given.get("positions"):
            self.add_error("positions", "A leaf has a canopy position: choose one.")
        if given.get("method") == "same" and not given.get("same_as"):
            self.add_error("same_as", "Choose the plan whose vines to take again.")
        # The same vines again are as many as they were.
        new = given.get("method") != "same"
        if (
            new
            and given.get("aim") == "precision"
            and not given.get("precision_percent")
        ):
            self.add_error("precision_percent", "Write the precision wanted.")
        return given

    def wish(self) -> Wish:
        """Give what the number of bags is for."""
        given = self.cleaned_data
        return Wish(
            aim=given["aim"],
            precision=(given["precision_percent"] or 25.0) / 100,
            density=given["density"],
            lower=given["lower"],
            upper=given["upper"],
            stated=given["bags"],
        )


def _earlier_words(plan: RoundPlan) -> str:
    return f"{plan.planned_on.isoformat()}: {plan.bags} bags ({plan.tissue})"


class PutOffForm(RefusableForm):
    """Another day for a plan."""

    to = _date("Another day", "The vines stay.")

    def __init__(self, data: Mapping[str, Any] | None, *, today: date) -> None:
        super().__init__(data)
        self.today = today

    def clean_to(self) -> date:
        """Keep to the season at hand."""
        return near(self.cleaned_data["to"], self.today)


class HabitsForm(RefusableForm):
    """How often rounds are walked, and how long a bag keeps the bench."""

    interval_days = forms.IntegerField(
        label="Days between rounds",
        required=False,
        min_value=1,
        max_value=366,
        error_messages=NEEDS_NUMBER,
        help_text="1 to 366; 7 to 14 in the growing season is common practice. Blank:"
        " not set.",
    )
    minutes_per_bag = forms.FloatField(
        label="Minutes of the bench for a bag",
        required=False,
        min_value=1,
        max_value=600,
        error_messages=NEEDS_NUMBER,
        help_text="Washing, pouring and counting, 1 to 600. Blank: 20,"
        " which is common practice.",
    )

    def __init__(
        self,
        data: Mapping[str, Any] | None,
        *,
        of_block: bool,
        initial: Mapping[str, Any],
    ) -> None:
        super().__init__(data, initial=dict(initial))
        if of_block:
            del self.fields["minutes_per_bag"]
            self.fields[
                "interval_days"
            ].help_text = "1 to 366, of this block. Blank: as the group's."
