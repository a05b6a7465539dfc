"""Understand an organism's count and its cells in one row."""

from monitoring.sheets.checking.context import DishInfo, TypedTally
from monitoring.sheets.checking.fields import FieldParser, Issue, Parsed
from monitoring.sheets.checking.values import FaultError

FLOAT_SLACK = 1e-12


class TallyReader:
    """Read the pair of columns of one organism.

    Cells depend on the dish, so what is remembered of them is kept by dish.
    """

    def __init__(
        self, organism_id: int, count: FieldParser, cells: FieldParser
    ) -> None:
        self.organism_id = organism_id
        self.count = count
        self.cells = cells
        self._scopes: dict[
            tuple[int, str], tuple[str, int | None, float, list[str] | None]
        ] = {}

    def read(
        self, fields: list[str], dish: DishInfo | None
    ) -> tuple[TypedTally | None, list[tuple[str, Issue]]]:
        """Give the tally, or None when not counted, and the issues by column."""
        counted = self.count.read(fields)
        cells = self.cells.read(fields)
        issues = [(self.count.column, issue) for issue in counted.issues]
        issues += [(self.cells.column, issue) for issue in cells.issues]
        if not (counted.usable and cells.usable):
            return None, issues
        if counted.value is None:
            issues += self._cells_without_count(cells)
            return None, issues
        if dish is None:
            fault = Issue(
                "error",
                "no-dish",
                "The group has no usual dish yet. A coordinator describes one under"
                " Laboratory.",
            )
            return None, [*issues, ("dish", fault)]
        try:
            scope, number, share, names = self._scope(fields, cells, dish)
        except FaultError as fault:
            issue = Issue("error", fault.code, fault.sentence)
            return None, [*issues, (self.cells.column, issue)]
        uncountable = counted.value == "uncountable"
        tally = TypedTally(
            organism_id=self.organism_id,
            scope=scope,
            cells_counted=number,
            proportion=share,
            outcome="uncountable" if uncountable else "counted",
            counted=None if uncountable else counted.value,
            cells=names,
        )
        return tally, issues

    def _cells_without_count(self, cells: Parsed) -> list[tuple[str, Issue]]:
        if cells.value is None:
            return []
        issue = Issue(
            "error",
            "cells-without-count",
            f"Cells are named but {self.count.column} is empty. Write the count, 0 if"
            " none were found, or leave the cells out.",
        )
        return [(self.count.column, issue)]

    def _scope(
        self, fields: list[str], cells: Parsed, dish: DishInfo
    ) -> tuple[str, int | None, float, list[str] | None]:
        if cells.value is None:
            return "whole", None, 1.0, None
        if isinstance(cells.value, int):
            return self._random_cells(cells.value, dish)
        text = fields[self.cells.index] if self.cells.index is not None else ""
        key = (dish.key, text)
        known = self._scopes.get(key)
        if known is None:
            known = named_cells(cells.value, dish)
            if len(self._scopes) < 20_000:
                self._scopes[key] = known
        return known

    def _random_cells(
        self, number: int, dish: DishInfo
    ) -> tuple[str, int | None, float, list[str] | None]:
        if not 1 <= number <= dish.cells:
            raise FaultError(
                "too-many-cells",
                f"{number} cells were counted, but the dish {dish.name} has"
                f" {dish.cells}. Write 1 to {dish.cells}, or leave it empty for the"
                " whole dish.",
            )
        return "random_cells", number, number / dish.cells, None


def named_cells(
    names: list[str], dish: DishInfo
) -> tuple[str, int | None, float, list[str] | None]:
    """Give scope and exact share of the dish's area for named cells."""
    missing = [name for name in names if name not in dish.cell_areas_mm2]
    if missing:
        raise FaultError(
            "no-such-cell",
            f"The dish {dish.name} has no cell {', '.join(missing)}. Look at its"
            " drawing under Laboratory.",
        )
    area = sum(dish.cell_areas_mm2[name] for name in names)
    share = area / dish.area_mm2
    if share > 1 - FLOAT_SLACK:
        share = 1.0
    return "named_cells", len(names), share, names
