"""The form that asks which cells of a dish come next."""

import re
from typing import Any

from django import forms

from monitoring.pages.dish_cells_page import CellsAsked

MOST_IN_A_CELL = 100_000
LARGEST_SEED = 999_999_999
NOT_A_NUMBER = "Write a whole number."


class CountsField(forms.Field):
    """Whole numbers, one for each cell, with anything usual between them."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.Textarea(attrs={"rows": 3, "inputmode": "numeric"})
        super().__init__(required=False, widget=widget, **kwargs)

    def to_python(self, value: object) -> tuple[int, ...]:
        """Read the numbers, or say which word is none."""
        words = [word for word in re.split(r"[\s,;]+", str(value or "")) if word]
        for word in words:
            if not re.fullmatch(r"[0-9]{1,6}", word) or int(word) > MOST_IN_A_CELL:
                raise forms.ValidationError(
                    f"“{word[:20]}” is no count of a cell. Write whole numbers with"
                    " spaces between, one for each cell, 0 where there was none."
                )
        return tuple(int(word) for word in words)


class CellsForm(forms.Form):
    """The order, the precision, and what was counted so far."""

    seed = forms.IntegerField(
        label="Number of the order",
        min_value=0,
        max_value=LARGEST_SEED,
        error_messages={"invalid": NOT_A_NUMBER},
        help_text="The same number gives the same order of cells again.",
    )
    cv = forms.IntegerField(
        label="Wanted precision, % (standard error over total)",
        min_value=5,
        max_value=50,
        initial=15,
        error_messages={"invalid": NOT_A_NUMBER},
        help_text="5 to 50. At 15 the interval goes about 30 % to either side.",
    )
    pilot = forms.IntegerField(
        label="Cells to begin with",
        min_value=8,
        max_value=20,
        initial=10,
        error_messages={"invalid": NOT_A_NUMBER},
        help_text="8 to 20; from them the number of further cells is worked out.",
    )
    counts = CountsField(
        label="Counts of the first cells",
        help_text="In the order shown, with spaces between. Empty if none is counted"
        " yet.",
    )
    further = CountsField(
        label="Counts of the further cells",
        help_text="In the order shown. Empty if none is counted yet.",
    )

    def __init__(self, *args: Any, cells_in_dish: int, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.cells_in_dish = cells_in_dish

    def clean(self) -> dict[str, Any]:
        """Let each cell have its count, and each count its cell."""
        cleaned = super().clean() or {}
        if self.errors:
            return cleaned
        counts, further, pilot = (
            cleaned[name] for name in ("counts", "further", "pilot")
        )
        if counts and len(counts) != pilot:
            self.add_error("counts", f"{len(counts)} counts for {pilot} cells.")
        if further and not counts:
            self.add_error("counts", "Give the counts of the first cells too.")
        elif further and pilot + len(further) > self.cells_in_dish:
            self.add_error(
                "further",
                f"{len(further)} counts, but the dish has"
                f" {self.cells_in_dish - pilot} further cells.",
            )
        return cleaned

    def asked(self) -> CellsAsked:
        """Give what was asked for."""
        cleaned = self.cleaned_data
        return CellsAsked(
            seed=cleaned["seed"],
            cv=cleaned["cv"] / 100,
            pilot=cleaned["pilot"],
            counts=cleaned["counts"],
            further=cleaned["further"],
        )
