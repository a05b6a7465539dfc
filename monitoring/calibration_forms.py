"""The forms of calibration runs: one question a line, what is expected beneath."""

import re
from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet

from monitoring.laboratory_forms import DateInput
from monitoring.models import CalibrationRun, Organism, Tissue
from monitoring.services.calibrations import Measured
from monitoring.treatment_forms import RefusableForm

Kind = CalibrationRun.Kind
MOST_ANIMALS = 1_000_000
MOST_WASHES = 12
LONGEST_METHOD = 80
NOT_A_DATE = "Write the date as 2026-08-14."
NOT_A_COUNT = "Write a whole number of animals, such as 43."


class RunForm(RefusableForm):
    """One calibration run."""

    organism = forms.ModelChoiceField(queryset=Organism.objects.none())
    tissue = forms.ChoiceField(choices=Tissue.choices)
    method = forms.CharField(
        max_length=LONGEST_METHOD,
        # The page lists the wordings in use under that name.
        widget=forms.TextInput(attrs={"list": "methods-in-use"}),
        help_text="The protocol in words, e.g. “35 % alcohol, 50 ml, 30 s shaking”."
        " Runs of the same words are pooled.",
    )
    kind = forms.ChoiceField(
        label="How it was measured", choices=Kind.choices, widget=forms.RadioSelect
    )
    catches = forms.CharField(
        label="Repeat washes: animals that each wash brought off",
        required=False,
        max_length=200,
        help_text="The first wash first, two washes or more, e.g. 412 61 9. Sum the"
        " leaves of a run: single leaves hold too few.",
    )
    added = forms.IntegerField(
        label="Spiked sample: animals added",
        required=False,
        min_value=1,
        max_value=MOST_ANIMALS,
        error_messages={"invalid": NOT_A_COUNT},
    )
    recovered = forms.IntegerField(
        label="Spiked sample: animals found again",
        required=False,
        min_value=0,
        max_value=MOST_ANIMALS,
        error_messages={"invalid": NOT_A_COUNT},
        help_text="In one wash; not more than were added.",
    )
    ran_on = forms.DateField(
        label="Day of the run",
        widget=DateInput,
        error_messages={"invalid": NOT_A_DATE},
    )
    ran_by = forms.CharField(label="Who did it", max_length=120)
    note = forms.CharField(
        required=False,
        max_length=300,
        help_text="What is worth knowing, e.g. how many leaves, or where the animals"
        " came from.",
    )

    def __init__(
        self, *args: Any, organisms: QuerySet[Organism], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["organism"]
        if isinstance(field, forms.ModelChoiceField):
            field.queryset = organisms

    def clean_catches(self) -> tuple[int, ...]:
        """Read whole numbers, whatever stands between them."""
        text = self.cleaned_data["catches"].strip()
        words = [word for word in re.split(r"[\s,;]+", text) if word]
        for word in words:
            if not re.fullmatch(r"[0-9]{1,7}", word) or int(word) > MOST_ANIMALS:
                raise forms.ValidationError(
                    f"“{word}” is no whole number of animals up to {MOST_ANIMALS:,}."
                    " Write one for each wash, with spaces between, e.g. 412 61 9."
                )
        if len(words) > MOST_WASHES:
            raise forms.ValidationError(f"At most {MOST_WASHES} washes make one run.")
        return tuple(int(word) for word in words)

    def clean(self) -> dict[str, Any]:
        """Ask for the counts of the kind chosen, and for no others."""
        cleaned = super().clean() or {}
        kind, catches = cleaned.get("kind"), cleaned.get("catches") or ()
        added, recovered = cleaned.get("added"), cleaned.get("recovered")
        if self.errors:
            return cleaned
        if kind == Kind.REPEAT_WASHES:
            if len(catches) < 2:
                self.add_error("catches", "Give the animals of two washes or more.")
            if added is not None or recovered is not None:
                self.add_error("added", "Leave this empty for repeat washes.")
        else:
            if added is None or recovered is None:
                self.add_error("added", "Give both how many were added and found.")
            elif recovered > added:
                self.add_error("recovered", f"More than the {added:,} added.")
            if catches:
                self.add_error("catches", "Leave this empty for a spiked sample.")
        return cleaned

    def measured(self) -> Measured:
        """Give the run as it was entered."""
        cleaned = dict(self.cleaned_data)
        cleaned.pop("reason", None)
        return Measured(**cleaned)


class CorrectRunForm(RunForm):
    """A run in the place of one that was wrong."""

    reason = forms.CharField(
        label="Why the first was wrong",
        max_length=300,
        help_text="It stays in sight with these words.",
    )


class WithdrawRunForm(RefusableForm):
    """A run that is to count no longer."""

    reason = forms.CharField(
        label="Why it should not count",
        max_length=300,
        help_text="The run stays in sight with these words.",
    )


class InForceForm(RefusableForm):
    """Pooled runs as the recovery in force."""

    origin = forms.CharField(widget=forms.HiddenInput)
    method = forms.CharField(widget=forms.HiddenInput)
    # Of the runs as they were seen.
    digest = forms.CharField(widget=forms.HiddenInput)
    valid_from = forms.DateField(
        label="For rounds from",
        widget=DateInput,
        error_messages={"invalid": NOT_A_DATE},
        help_text="Densities of rounds from this date on are computed again.",
    )
    note = forms.CharField(required=False, max_length=150)


def initial_of(run: CalibrationRun) -> dict[str, object]:
    """Fill a form with a run as it was entered."""
    return {
        "organism": run.organism_id,
        "tissue": run.tissue,
        "method": run.method,
        "kind": run.kind,
        "catches": " ".join(str(catch) for catch in run.catches),
        "added": run.added,
        "recovered": run.recovered,
        "ran_on": run.ran_on,
        "ran_by": run.ran_by,
        "note": run.note,
    }


def initial_for(*, today: date, name: str, method: str) -> dict[str, object]:
    """Fill what a new run mostly has."""
    return {
        "ran_on": today,
        "ran_by": name,
        "method": method,
        "kind": Kind.REPEAT_WASHES,
    }
