"""The forms of training: a new reference dish, its counts, and who is senior."""

from collections.abc import Sequence
from typing import Any

from django import forms

from blocks.models import User
from monitoring.estimation import DishGrid
from monitoring.models import Dish, Organism, ReferenceContent, ReferenceDish
from monitoring.services.training import AskedDish, AskedOrganism
from monitoring.training.fields import (
    HIGHEST_MAGNIFICATION,
    LOWEST_MAGNIFICATION,
    fields_of,
    serpentine,
)
from monitoring.training.scene import most_asked
from monitoring.treatment_forms import NOT_A_NUMBER, RefusableForm

MOST_ANIMALS, MOST_COUNTED, MOST_LOOKS = 3_000, 100_000, 600
FEWEST_CELLS, USUAL_CELLS, USUAL_MAGNIFICATION = 4, 20, 20
NOT_WHOLE = "Write a whole number."
WRITE_COUNT = "Write how many you found; 0 where there was none."
# How the organisms that a laboratory begins with are drawn, and about how many.
USUAL = {
    "rust_mites": ("wedge", 1_200),
    "predatory_mites": ("pear", 60),
    "thrips": ("long", 60),
}
BY_ROLE = {Organism.Role.PREDATOR: "pear", Organism.Role.PEST: "round"}


class NewReferenceForm(RefusableForm):
    """What a reference dish is to be like."""

    dish = forms.ChoiceField(
        help_text="One of the laboratory's; its grid is drawn.",
        error_messages={"invalid_choice": "That is none of the laboratory's dishes."},
    )
    magnification = forms.FloatField(
        label="Magnification, times",
        min_value=LOWEST_MAGNIFICATION,
        max_value=HIGHEST_MAGNIFICATION,
        initial=USUAL_MAGNIFICATION,
        error_messages={"invalid": NOT_A_NUMBER},
        help_text=f"{LOWEST_MAGNIFICATION} to {HIGHEST_MAGNIFICATION}, eyepieces"
        " included. The higher, the less of the dish is in view at once. Common"
        " practice: thrips at 10 to 20 times, mites at up to 40.",
    )
    cells = forms.IntegerField(
        label="Random cells to count",
        required=False,
        min_value=FEWEST_CELLS,
        initial=USUAL_CELLS,
        error_messages={"invalid": NOT_WHOLE},
        help_text=f"{FEWEST_CELLS} or more; empty for the whole dish. Which ones, the"
        " site draws.",
    )
    clumping = forms.ChoiceField(
        label="How the animals lie",
        choices=ReferenceDish.Clumping.choices,
        initial=ReferenceDish.Clumping.SOME,
    )
    debris = forms.ChoiceField(
        label="Hairs, grit and flecks of leaf",
        choices=ReferenceDish.Debris.choices,
        initial=ReferenceDish.Debris.USUAL,
    )

    def __init__(
        self, data: Any, *, dishes: Sequence[Dish], organisms: Sequence[Organism]
    ) -> None:
        super().__init__(data)
        self.dishes = {str(one.uuid): one for one in dishes}
        self.organisms = organisms
        field = self.fields["dish"]
        if isinstance(field, forms.ChoiceField):
            field.choices = [(key, one.name) for key, one in self.dishes.items()]
        for organism in organisms:
            self._ask_for(organism)

    def _ask_for(self, organism: Organism) -> None:
        look, number = USUAL.get(
            organism.code, (BY_ROLE.get(Organism.Role(organism.role), "long"), None)
        )
        self.fields[f"about_{organism.code}"] = forms.IntegerField(
            label=f"About how many {organism.name} in the whole dish",
            required=False,
            min_value=0,
            max_value=MOST_ANIMALS,
            initial=number,
            error_messages={"invalid": NOT_WHOLE},
            help_text=f"0 to {MOST_ANIMALS:,}; empty leaves them out of the question."
            " What there is lies by chance between half and twice this, so that"
            " nobody knows it.",
        )
        self.fields[f"look_{organism.code}"] = forms.ChoiceField(
            label=f"How {organism.name} are drawn",
            choices=ReferenceContent.Look.choices,
            initial=look,
            required=False,
        )

    def clean(self) -> dict[str, Any]:
        """Keep looks apart, and see that it fits and can be counted in a morning."""
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        dish = self.dishes[cleaned["dish"]]
        asked = self._asked_organisms()
        if not asked:
            message = "Say about how many there are of one organism at least."
            raise forms.ValidationError(message)
        looks = [one.look for one in asked]
        for one in asked:
            if looks.count(one.look) > 1:
                self.add_error(
                    f"look_{one.organism.code}",
                    "Another organism of this dish is drawn so: nobody could tell"
                    " them apart.",
                )
        self._check_room(dish, asked)
        self._check_looks(dish)
        return cleaned

    def _asked_organisms(self) -> list[AskedOrganism]:
        cleaned = self.cleaned_data
        return [
            AskedOrganism(
                organism=one,
                look=cleaned[f"look_{one.code}"]
                or self.fields[f"look_{one.code}"].initial,
                asked=cleaned[f"about_{one.code}"],
            )
            for one in self.organisms
            if cleaned.get(f"about_{one.code}") is not None
        ]

    def _check_room(self, dish: Dish, asked: Sequence[AskedOrganism]) -> None:
        shares = {
            one: one.asked / max(most_asked(one.look, dish.inner_diameter_mm), 1)
            for one in asked
        }
        if sum(shares.values()) > 1:
            worst = max(asked, key=lambda one: shares[one])
            most = most_asked(worst.look, dish.inner_diameter_mm)
            self.add_error(
                f"about_{worst.organism.code}",
                f"Together they do not fit side by side: {dish.name} holds about"
                f" {most:,} of these alone. Ask for fewer.",
            )

    def _check_looks(self, dish: Dish) -> None:
        grid = DishGrid(
            inner_diameter_mm=dish.inner_diameter_mm,
            pitch_mm=dish.pitch_mm,
            offset_mm=(dish.offset_x_mm, dish.offset_y_mm),
        )
        wanted = self.cleaned_data["cells"]
        if wanted is not None and wanted > len(grid.cell_names):
            self.add_error(
                "cells", f"{dish.name} has {len(grid.cell_names)} cells. Ask for fewer."
            )
            return
        cells = serpentine(grid)
        looks = len(fields_of(grid, cells, self.cleaned_data["magnification"]))
        if wanted is not None:
            looks = round(looks * wanted / len(cells))
        if looks > MOST_LOOKS:
            self.add_error(
                "cells",
                f"That takes about {looks:,} looks through the microscope, more than"
                f" {MOST_LOOKS}. Ask for fewer cells or a lower magnification.",
            )

    def asked(self) -> AskedDish:
        """Give what was asked for."""
        cleaned = self.cleaned_data
        return AskedDish(
            dish=self.dishes[cleaned["dish"]],
            magnification=cleaned["magnification"],
            organisms=self._asked_organisms(),
            clumping=cleaned["clumping"],
            debris=cleaned["debris"],
            cells=cleaned["cells"],
        )


class CountsForm(RefusableForm):
    """What was counted of each organism in question."""

    def __init__(self, data: Any, *, organisms: Sequence[Organism]) -> None:
        super().__init__(data)
        self.organisms = organisms
        for organism in organisms:
            self.fields[organism.code] = forms.IntegerField(
                label=organism.name,
                min_value=0,
                max_value=MOST_COUNTED,
                error_messages={"required": WRITE_COUNT, "invalid": WRITE_COUNT},
            )

    def counts(self) -> dict[Organism, int]:
        """Give the counts."""
        return {one: self.cleaned_data[one.code] for one in self.organisms}


class WithdrawReferenceForm(RefusableForm):
    """Why a reference dish counts no more."""

    why = forms.CharField(
        label="Why it is withdrawn",
        max_length=300,
        help_text="Its counts stay to be seen, but no longer make anybody's record.",
    )


class SeniorForm(RefusableForm):
    """Against whose recounts others are held."""

    person = forms.ChoiceField(
        label="Senior analyst",
        required=False,
        help_text="Recounts of real dishes are held against this person's.",
        error_messages={"invalid_choice": "That person does not count here."},
    )

    def __init__(
        self, data: Any, *, people: Sequence[User], senior: User | None
    ) -> None:
        super().__init__(data)
        self.people = {str(one.uuid): one for one in people}
        field = self.fields["person"]
        if isinstance(field, forms.ChoiceField):
            named = [(key, one.name) for key, one in self.people.items()]
            if senior is not None and str(senior.uuid) not in self.people:
                # Whose recounts stand as the measure until another choice is saved.
                self.people[str(senior.uuid)] = senior
                gone = f"{senior.name}, who counts here no longer"
                named.append((str(senior.uuid), gone))
            field.choices = [("", "nobody: the other reader, whoever it is"), *named]
        field.initial = str(senior.uuid) if senior else ""

    def chosen(self) -> User | None:
        """Give the person, or None for the other reader."""
        return self.people.get(self.cleaned_data["person"])
