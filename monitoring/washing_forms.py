"""The forms of washing: the protocol, a batch of bags, and mixing alcohol."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django import forms
from django.utils import timezone

from blocks.access import Member
from monitoring.laboratory_forms import DateInput
from monitoring.models import Bag, WashBatch, WashProtocol
from monitoring.services.washing import BEFORE_WASHED, Washed
from monitoring.treatment_forms import NOT_A_DATE, NOT_A_NUMBER, RefusableForm
from monitoring.washing.dilution import MOST_BAGS

COMMON = " (common practice)"
MOST_ML, MOST_S, MOST_CM, MOST_RINSES, MOST_WASHES = 5_000, 3_600, 30, 20, 10
NOT_A_TIME = "Write the time of day as 14:30, or leave it empty."
LIMITS = (
    ("alcohol", "percent", "Alcohol in the bag, % by volume", 1, 100),
    ("volume", "ml", "Volume in a bag, ml", 1, MOST_ML),
    ("shake", "s", "Hard shaking, s", 0, MOST_S),
    ("piece", "cm", "Pieces of tissue, cm", 0.1, MOST_CM),
)


def number(label: str, low: float, high: float, **kwargs: Any) -> forms.FloatField:
    """Ask for a number within limits that are said beneath it."""
    hint = kwargs.pop("hint", "")
    return forms.FloatField(
        label=label,
        min_value=low,
        max_value=high,
        error_messages={"invalid": NOT_A_NUMBER},
        help_text=f"{low:g} to {high:,g}. {hint}".strip(),
        **kwargs,
    )


def whole(label: str, low: int, high: int, **kwargs: Any) -> forms.IntegerField:
    """Ask for a whole number within limits."""
    hint = kwargs.pop("hint", "")
    return forms.IntegerField(
        label=label,
        min_value=low,
        max_value=high,
        error_messages={"invalid": "Write a whole number."},
        help_text=f"{low} to {high:,}. {hint}".strip(),
        **kwargs,
    )


class ProtocolForm(forms.Form):
    """How bags are to be washed: the lowest and the highest of each figure."""

    rinses = whole(
        "Rinses of the pieces after the wash",
        0,
        MOST_RINSES,
        required=False,
        hint="Empty where the laboratory does not say.",
    )
    note = forms.CharField(
        max_length=300,
        label="Why, or where it comes from",
        help_text="Kept with the protocol, for whoever asks.",
    )
    valid_from = forms.DateField(
        label="For washes from",
        widget=DateInput,
        error_messages={"invalid": NOT_A_DATE},
        help_text="Earlier washes are held against what was asked then.",
    )

    def __init__(self, data: Any, *, standing: WashProtocol, today: date) -> None:
        super().__init__(data)
        for what, unit, label, low, high in LIMITS:
            for end in ("low", "high"):
                name = f"{what}_{end}_{unit}"
                title = f"{label}, {'from' if end == 'low' else 'to'}"
                value = getattr(standing, name)
                hint = f"Now {value:g}."
                if standing.is_common_practice:
                    hint = f"Now {value:g}{COMMON}."
                self.fields[name] = number(
                    title, low, high, initial=written(value), hint=hint
                )
        self.order_fields([f"{a}_{e}_{u}" for a, u, *_ in LIMITS for e in _ENDS])
        self.fields["rinses"].initial = standing.rinses
        self.fields["valid_from"].initial = today

    def clean(self) -> dict[str, Any]:
        """Keep each lowest from being above its highest."""
        cleaned = super().clean() or {}
        for what, unit, *_ in LIMITS:
            low, high = (cleaned.get(f"{what}_{end}_{unit}") for end in _ENDS)
            if low is not None and high is not None and low > high:
                self.add_error(
                    f"{what}_high_{unit}",
                    f"{high:g} is below {low:g}. Give the same twice for one value.",
                )
        return cleaned


_ENDS = ("low", "high")


class WashedForm(RefusableForm):
    """How bags were washed, by whom and when."""

    washed_on = forms.DateField(
        label="Washed on",
        widget=DateInput,
        error_messages={"invalid": NOT_A_DATE},
        help_text="By the farm's calendar.",
    )
    washed_time = forms.TimeField(
        label="Begun at",
        required=False,
        widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        error_messages={"invalid": NOT_A_TIME},
        help_text="Time of day; empty if nobody wrote it down.",
    )
    analyst_name = forms.CharField(label="Washed by", max_length=120)
    alcohol_percent = number("Alcohol in the bag, % by volume", 0, 100)
    volume_ml = number("Volume in a bag, ml", 1, MOST_ML)
    shake_s = number("Hard shaking, s", 0, MOST_S)
    piece_cm = number(
        "Pieces of tissue, cm",
        0.1,
        MOST_CM,
        required=False,
        hint="Their usual size; empty if nobody wrote it down.",
    )
    rinses = whole(
        "Rinses of the pieces after the wash",
        0,
        MOST_RINSES,
        required=False,
        hint="Poured into the same dish; empty if nobody wrote it down.",
    )
    note = forms.CharField(
        required=False,
        max_length=2_000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Anything out of the ordinary.",
    )

    def __init__(
        self, data: Any, *, member: Member, collected_on: date, today: date
    ) -> None:
        super().__init__(data)
        self.member, self.today, self.collected_on = member, today, collected_on

    def clean(self) -> dict[str, Any]:
        """Keep the day within what can be, and join it with the time."""
        cleaned = super().clean() or {}
        day, time = cleaned.get("washed_on"), cleaned.get("washed_time")
        if day is None:
            return cleaned
        if day > self.today:
            self.add_error("washed_on", f"{day:%Y-%m-%d} has not come yet.")
        elif day < self.collected_on:
            self.add_error(
                "washed_on",
                f"The round was collected on {self.collected_on:%Y-%m-%d}; bags are"
                " washed then or later.",
            )
        elif time is not None:
            zone = self.member.farm_group.zone
            cleaned["washed_at"] = datetime.combine(day, time, zone)
            if cleaned["washed_at"] > timezone.now():
                self.add_error("washed_time", "That time has not come yet.")
        return cleaned

    def washed(self, *, wash_number: int) -> Washed:
        """Give what was filled in."""
        cleaned = self.cleaned_data
        own = cleaned["analyst_name"] == self.member.user.name
        return Washed(
            number=wash_number,
            washed_on=cleaned["washed_on"],
            washed_at=cleaned.get("washed_at"),
            analyst=self.member.user if own else None,
            analyst_name=cleaned["analyst_name"],
            alcohol_percent=cleaned["alcohol_percent"],
            volume_ml=cleaned["volume_ml"],
            shake_s=cleaned["shake_s"],
            piece_cm=cleaned["piece_cm"],
            rinses=cleaned["rinses"],
            note=cleaned["note"],
        )


class BatchForm(WashedForm):
    """A batch of a round's bags."""

    bags = forms.MultipleChoiceField(
        widget=forms.CheckboxSelectMultiple(attrs={"class": "choices"}),
        error_messages={
            "required": "Choose the bags that were washed.",
            "invalid_choice": "That is no bag of this round that can be washed.",
        },
        help_text="All that were washed alike, one after the other.",
    )
    number = whole(
        "Wash number",
        1,
        MOST_WASHES,
        initial=1,
        hint="1 for the first wash of these bags, 2 for a repeat of it.",
    )
    field_order = ("bags", "number")

    def __init__(
        self, data: Any, *, bags: list[Bag], protocol: WashProtocol, **kwargs: Any
    ) -> None:
        super().__init__(data, **kwargs)
        field = self.fields["bags"]
        if isinstance(field, forms.MultipleChoiceField):
            field.choices = [(str(bag.pk), told(bag)) for bag in bags]
        field.initial = [str(bag.pk) for bag in bags if bag.way in BEFORE_WASHED]
        for name, value in usual_of(protocol).items():
            self.fields[name].initial = value
        self.fields["washed_on"].initial = self.today
        self.fields["analyst_name"].initial = self.member.user.name

    def bag_ids(self) -> list[int]:
        """Give the keys of the bags chosen."""
        return [int(key) for key in self.cleaned_data["bags"]]


class CorrectBatchForm(WashedForm):
    """What a batch should have said, and why."""

    reason = forms.CharField(
        label="Why it is corrected",
        max_length=300,
        help_text="The batch as it was stays to be seen, with this.",
    )

    def __init__(self, data: Any, *, batch: WashBatch, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        for name, field in self.fields.items():
            value = getattr(batch, name, None)
            field.initial = written(value) if isinstance(value, float) else value
        if batch.washed_at:
            self.fields["washed_time"].initial = timezone.localtime(
                batch.washed_at, self.member.farm_group.zone
            ).time()


class WithdrawBatchForm(RefusableForm):
    """Why a batch was written down, though it never was."""

    reason = forms.CharField(label="Why it is withdrawn", max_length=300)


class ReagentForm(RefusableForm):
    """How much to mix, of what strength, from which bottle."""

    bags = whole("Bags to wash", 1, MOST_BAGS)
    volume_ml = number("Volume in a bag, ml", 1, MOST_ML)
    spare_percent = number("Spare, %", 0, 200, hint="For spills and a further bag.")
    bottle_percent = number(
        "Strength on the bottle, % by volume", 1, 100, hint="As its label says."
    )
    wanted_percent = number("Strength wanted in the bag, % by volume", 1, 100)


def usual_of(protocol: WashProtocol) -> Mapping[str, str]:
    """Write the value to begin with of each figure: the most where a range is asked."""
    usual = {
        "alcohol_percent": protocol.alcohol_high_percent,
        "volume_ml": protocol.volume_high_ml,
        "shake_s": protocol.shake_high_s,
        "piece_cm": (protocol.piece_low_cm + protocol.piece_high_cm) / 2,
        "rinses": protocol.rinses,
    }
    return {name: written(value) for name, value in usual.items()}


def written(value: float | None) -> str:
    """Write a figure for a field, without a decimal point that says nothing."""
    return "" if value is None else f"{value:g}"


def told(bag: Bag) -> str:
    """Say what a bag is, and which of its washes are there."""
    washes = [wash.number for wash in bag.washes.all()]
    parts = [bag.get_tissue_display(), bag.position, bag.get_way_display()]
    if washes:
        numbers = ", ".join(str(one) for one in washes)
        are = "wash {} is there" if len(washes) == 1 else "washes {} are there"
        parts.append(are.format(numbers))
    return f"{bag.code}: {', '.join(part for part in parts if part)}"
