"""The form that decides about a reading that waits."""

from typing import Any

from django import forms

from blocks.access import Member
from monitoring.labels.codes import NoLabelCodeError, read_code
from monitoring.models import Bag, BenchReading, Dish
from monitoring.queries.bench_readings import bags_named, dishes_of_group
from monitoring.services.bench_deciding import LONGEST_WHY, choices_for, mark_of
from monitoring.treatment_forms import RefusableForm

WORDS = {
    "recount": "Keep it as a recount: a further reading beside the one that stands",
    "instead": "Use this one instead: figures are made with it, the other is kept",
    "although": "Publish it although",
    "give": "Give it its bag or dish, and look at it again",
    "set_aside": "Set it aside: nothing of it counts, its presses are kept",
    "take_up": "Take it up again: it is looked at as if it had just been finished",
    "choose": "Make the figures with this reading, in the place of the other",
}


class ReasonForm(forms.Form):
    """Why an act was settled or a photograph removed; the services ask for one."""

    why = forms.CharField(required=False, max_length=LONGEST_WHY)

    @property
    def refusal(self) -> str:
        """Say what cannot be kept of the reason."""
        return f"Nothing was done, the reason cannot be kept: {self.errors['why'][0]}"


class DecideForm(RefusableForm):
    """What shall become of a reading."""

    choice = forms.ChoiceField(
        label="What shall become of it",
        widget=forms.RadioSelect(attrs={"class": "choices"}),
        error_messages={
            "required": "Choose one.",
            "invalid_choice": "That does not go with this reading. Choose another.",
        },
    )
    score_stands = forms.BooleanField(
        label="Let its symptom score take the place of the bag's", required=False
    )
    bag = forms.CharField(
        label="Bag",
        required=False,
        max_length=60,
        help_text="Its label's code, such as K7R-4M3X, or the code written on the bag.",
    )
    which = forms.ChoiceField(
        label="Which of these bags", required=False, widget=forms.RadioSelect
    )
    dish = forms.ModelChoiceField(
        label="Dish",
        queryset=Dish.objects.none(),
        required=False,
        to_field_name="uuid",
        error_messages={"invalid_choice": "Choose a dish from the list."},
    )
    why = forms.CharField(
        label="Why",
        required=False,
        max_length=LONGEST_WHY,
        help_text="Kept with the reading, with your name; needed unless it is kept as"
        " a recount or given its bag.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(
        self, data: Any = None, *, reading: BenchReading, member: Member, choose: bool
    ) -> None:
        super().__init__(data, initial={"seen": mark_of(reading)})
        self.member = member
        self.found: list[Bag] = []
        doubts = set(reading.told.get("doubts", []))
        ways = list(choices_for(reading, coordinator=member.is_coordinator))
        if choose and member.is_coordinator:
            ways.append("choose")
        choice = self.fields["choice"]
        if isinstance(choice, forms.ChoiceField):
            choice.choices = [(way, WORDS[way]) for way in ways]
        asks_dish = reading.dish_id is None or "not-on-dish" in doubts
        unasked = {
            "score_stands": "score-differs" not in doubts,
            "bag": reading.bag_id is not None or "give" not in ways,
            "dish": not asks_dish or "give" not in ways,
        }
        for name, left_out in unasked.items():
            if left_out:
                del self.fields[name]
        dish = self.fields.get("dish")
        if isinstance(dish, forms.ModelChoiceField):
            dish.queryset = dishes_of_group(member)
        self._ask_which(data)

    def _ask_which(self, data: Any) -> None:
        """Let one of several bags be chosen, once a code was typed that they share."""
        typed, which = self._typed(data), self.fields["which"]
        if not typed:
            del self.fields["which"]
            return
        self.found = bags_named(self.member, typed, _label(typed))
        if isinstance(which, forms.ChoiceField):
            which.choices = [
                (
                    str(bag.uuid),
                    f"{bag.code} of {bag.round.block.name},"
                    f" {bag.round.collected_on:%Y-%m-%d}",
                )
                for bag in self.found
            ]
        if len(self.found) < 2:
            del self.fields["which"]

    def _typed(self, data: Any) -> str:
        """Give the code typed; empty for none, or one that the field refuses."""
        if "bag" not in self.fields:
            return ""
        try:
            return str(self.fields["bag"].clean((data or {}).get("bag", "")))
        except forms.ValidationError:
            return ""

    def clean(self) -> dict[str, Any]:
        """Find the bag that is meant."""
        cleaned = super().clean() or {}
        typed = cleaned.get("bag", "")
        if not typed:
            return cleaned | {"bag": None}
        chosen = {str(bag.uuid): bag for bag in self.found}
        if not chosen:
            self.add_error("bag", f"No bag has the label or the code “{typed}”.")
            return cleaned
        if len(chosen) == 1:
            return cleaned | {"bag": self.found[0]}
        bag = chosen.get(cleaned.get("which", ""))
        if bag is None and "which" not in self.errors:
            self.add_error("which", "Several bags have this code. Choose one.")
        return cleaned | {"bag": bag}


def _label(typed: str) -> str:
    try:
        return read_code(typed)
    except NoLabelCodeError:
        return ""
