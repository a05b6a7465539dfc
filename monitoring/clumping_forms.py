"""What a coordinator fills in to let earlier rounds be held."""

from datetime import date
from typing import Any

from django import forms
from django.db.models import QuerySet

from blocks.forms import DateInput
from monitoring.models import Organism, Tissue

LEARN, NOTHING = "learn", "nothing"


class LearnForm(forms.Form):
    """Of which organism and tissue, what is to be held, and from when."""

    organism = forms.ModelChoiceField(queryset=Organism.objects.none())
    tissue = forms.ChoiceField(choices=Tissue.choices)
    what = forms.ChoiceField(
        label="Hold",
        choices=[
            (LEARN, "what the rounds before the date tell"),
            (NOTHING, "nothing beforehand"),
        ],
    )
    valid_from = forms.DateField(
        label="For rounds from",
        widget=DateInput,
        help_text="The first day of a season does well: then every round of the season"
        " is judged by the same. Densities from this date on are computed again.",
    )

    def __init__(
        self, *args: Any, organisms: QuerySet[Organism], today: date, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["organism"]
        if isinstance(field, forms.ModelChoiceField):
            field.queryset = organisms
        self.fields["valid_from"].initial = date(today.year, 1, 1)

    @property
    def learns(self) -> bool:
        """Whether earlier rounds are to be learned from."""
        return bool(self.cleaned_data["what"] == LEARN)
