"""The form that scores a round's bags: one question a bag."""

from datetime import date
from typing import Any

from django import forms
from django.http import QueryDict

from blocks.access import Member
from monitoring.laboratory_forms import DateInput
from monitoring.models import Bag, SymptomScale, SymptomScore
from monitoring.services.symptoms import Scoring
from monitoring.treatment_forms import RefusableForm

NOT_SCORED = "not scored"


class ScoresForm(RefusableForm):
    """A score for each bag, with who judged and when.

    The scores that stood when the page was opened come back with it, so that nobody
    overwrites what somebody else has scored since.
    """

    scorer_name = forms.CharField(
        label="Judged by",
        max_length=120,
        help_text="Whoever looked at the leaves.",
    )
    scored_on = forms.DateField(
        label="Judged on",
        widget=DateInput,
        error_messages={"invalid": "Write the date as 2026-08-14."},
    )
    reason = forms.CharField(
        label="Why scores changed",
        required=False,
        max_length=300,
        help_text="Only where a score that stands already is changed; kept with it.",
    )

    def __init__(
        self,
        data: Any,
        *,
        bags: list[Bag],
        scale: SymptomScale,
        member: Member,
        today: date,
    ) -> None:
        super().__init__(data)
        self.bags = bags
        self.scale = scale
        self.member = member
        self.today = today
        self.fields["scorer_name"].initial = member.user.name
        self.fields["scored_on"].initial = today
        for bag in bags:
            self._ask(bag)

    def _ask(self, bag: Bag) -> None:
        standing = standing_of(bag)
        levels = [
            (str(score), f"{score}, {name}" if name else str(score))
            for score, name in self.scale.levels
        ]
        if standing and str(standing.score) not in dict(levels):
            # A score of an earlier scale stays what it is until it is judged again.
            levels.append((str(standing.score), standing.words))
        self.fields[f"bag-{bag.pk}"] = forms.ChoiceField(
            label=f"Bag {bag.code}",
            required=False,
            choices=[("", NOT_SCORED), *levels],
            initial=str(standing.score) if standing else "",
            help_text=", ".join(filter(None, [bag.get_tissue_display(), bag.position])),
        )
        self.fields[f"seen-{bag.pk}"] = forms.CharField(
            required=False,
            max_length=6,
            widget=forms.HiddenInput,
            initial=str(standing.score) if standing else "",
        )

    def clean(self) -> dict[str, Any]:
        """Keep the day within what can be, and scores from vanishing."""
        cleaned = super().clean() or {}
        day = cleaned.get("scored_on")
        collected = self.bags[0].round.collected_on if self.bags else None
        if day and day > self.today:
            self.add_error("scored_on", f"{day:%Y-%m-%d} has not come yet.")
        elif day and collected and day < collected:
            self.add_error(
                "scored_on",
                f"The round was collected on {collected:%Y-%m-%d}; leaves are judged"
                " then or later.",
            )
        for bag in self.bags:
            if standing_of(bag) and cleaned.get(f"bag-{bag.pk}") == "":
                self.add_error(
                    f"bag-{bag.pk}",
                    "A score that stands is not taken away. Choose the right one.",
                )
        return cleaned

    def scoring(self) -> Scoring:
        """Give what was filled in."""
        cleaned = self.cleaned_data
        name = cleaned["scorer_name"]
        own = name == self.member.user.name
        return Scoring(
            scale=self.scale,
            scores=self._numbers("bag"),
            seen=self._numbers("seen"),
            scorer_name=name,
            scorer=self.member.user if own else None,
            scored_on=cleaned["scored_on"],
            reason=cleaned["reason"],
        )

    def look_again(self) -> None:
        """Take what stands now as seen, so that saving again is meant."""
        if isinstance(self.data, QueryDict):
            self.data = self.data.copy()
            for bag in self.bags:
                standing = standing_of(bag)
                self.data[f"seen-{bag.pk}"] = str(standing.score) if standing else ""

    def _numbers(self, kind: str) -> dict[int, int]:
        given = {
            bag.pk: self.cleaned_data.get(f"{kind}-{bag.pk}", "") for bag in self.bags
        }
        return {key: int(text) for key, text in given.items() if _is_number(text)}


def standing_of(bag: Bag) -> SymptomScore | None:
    """Give the score that stands, from what was read with the bag."""
    return next(
        (row for row in bag.scores.all() if row.state == SymptomScore.State.PUBLISHED),
        None,
    )


def _is_number(text: str) -> bool:
    return text.removeprefix("-").isascii() and text.removeprefix("-").isdigit()
