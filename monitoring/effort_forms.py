"""The form of how many bags to take: one question a line, the range beneath."""

from typing import Any

from django import forms

MOST_BAGS = 200
LAWS = (
    ("auto", "what fits the rounds"),
    ("common_k", "one k for all rounds"),
    ("power_law", "the power law"),
    ("patchiness", "the patchiness regression"),
)
ROUNDS = (
    ("auto", "this block's if there are ten, else all you may see"),
    ("block", "this block's only"),
    ("group", "all you may see"),
)
KINDS = (
    ("standard_error", "the standard error"),
    ("half_width", "half the 95 in 100 interval"),
)
# What is asked first; the rest stands behind a fold.
FIRST = ("density", "precision_percent", "precision_kind", "lower", "upper")
USUAL: dict[str, str] = {
    "precision_percent": "25",
    "precision_kind": "standard_error",
    "alpha_percent": "10",
    "beta_percent": "10",
    "counted_percent": "100",
    "law": "auto",
    "rounds": "auto",
    "fewest": "5",
    "most": "60",
    "seed": "1",
}


def _density(label: str, help_text: str) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        min_value=1e-3,
        max_value=1e6,
        required=False,
        help_text=help_text,
    )


def _percent(label: str, least: float, most: float, text: str) -> forms.FloatField:
    return forms.FloatField(
        label=f"{label}, %",
        min_value=least,
        max_value=most,
        help_text=f"{text}; {least:g} to {most:g}.",
    )


class EffortForm(forms.Form):
    """What a plan is asked for; densities are per leaf, shoot or bud."""

    density = _density(
        "Density expected", "Blank: the block's newest figure for this organism."
    )
    precision_percent = _percent(
        "Precision wanted, in shares of the mean", 2, 100, "25 is common practice"
    )
    precision_kind = forms.ChoiceField(
        label="That precision is of", choices=KINDS, required=False
    )
    lower = _density("Lower density", "Blank: your threshold's clear level.")
    upper = _density("Upper density", "Blank: your threshold.")
    alpha_percent = _percent(
        "Risk of calling the lower density the upper", 0.1, 45, "10 is common practice"
    )
    beta_percent = _percent(
        "Risk of calling the upper density the lower", 0.1, 45, "10 is common practice"
    )
    counted_percent = _percent(
        "Share of each dish to be counted", 0.1, 100, "100 for whole dishes"
    )
    animals = forms.IntegerField(
        label="A bag is held to be occupied from so many animals counted",
        min_value=1,
        max_value=100_000,
        required=False,
        help_text="1 for any animal at all. Blank: 1, unless nearly every bag holds"
        " some and another number tells much sooner.",
    )
    law = forms.ChoiceField(label="Clumping told by", choices=LAWS, required=False)
    rounds = forms.ChoiceField(
        label="Rounds that tell it", choices=ROUNDS, required=False
    )
    k = forms.FloatField(
        label="k, if you would rather state it",
        min_value=0.01,
        max_value=1000,
        required=False,
        help_text="0.01 to 1,000; blank to let the rounds tell it.",
    )
    fewest = forms.IntegerField(
        label="Fewest bags", min_value=2, max_value=MOST_BAGS, help_text="2 to 200."
    )
    most = forms.IntegerField(
        label="Most bags", min_value=5, max_value=MOST_BAGS, help_text="5 to 200."
    )
    seed = forms.IntegerField(
        label="Seed of the trial runs",
        min_value=0,
        max_value=2**31 - 1,
        help_text="The same seed gives the same runs.",
    )

    @property
    def first_fields(self) -> list[forms.BoundField]:
        """The questions shown at once."""
        return [self[name] for name in FIRST]

    @property
    def other_fields(self) -> list[forms.BoundField]:
        """The questions behind a fold."""
        return [self[name] for name in self.fields if name not in FIRST]

    @property
    def opens_fold(self) -> bool:
        """Whether something behind the fold is wrong or other than usual."""
        return any(
            name in self.errors or str(self.data.get(name, "")) != USUAL.get(name, "")
            for name in self.fields
            if name not in FIRST
        )

    def clean(self) -> dict[str, Any]:
        """Keep pairs in order."""
        cleaned = super().clean() or {}
        _in_order(self, "lower", "upper", "The upper density must be above the lower.")
        _in_order(self, "fewest", "most", "The most bags must be more than the fewest.")
        return cleaned


def _in_order(form: EffortForm, first: str, second: str, sentence: str) -> None:
    low, high = form.cleaned_data.get(first), form.cleaned_data.get(second)
    if low is not None and high is not None and low >= high:
        form.add_error(second, sentence)
