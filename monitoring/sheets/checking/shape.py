"""Look at a row's fields as a whole: too many, too few, merged, without a value."""

from collections.abc import Collection

from monitoring.sheets.checking.context import Context
from monitoring.sheets.findings import Finding


class RowShape:
    """What a header says of the shape of its rows.

    decimals: indexes of columns that may hold a decimal comma.
    """

    def __init__(
        self, width: int, context: Context, *, decimals: Collection[int] = ()
    ) -> None:
        self.width = width
        self.context = context
        self.decimals = tuple(decimals) if context.splits_at_commas else ()
        self.faults = bool(context.broken_cells or context.merged_rows)

    def fitted(self, fields: list[str]) -> list[str]:
        """Give the fields at the header's width."""
        return fields[: self.width] + [""] * (self.width - len(fields))

    def look_at(self, number: int, fields: list[str]) -> list[Finding]:
        """Say what is wrong with the row as a whole."""
        found: list[Finding] = []
        if len(fields) > self.width and self._is_torn(fields):
            found.append(self._too_wide(number, fields))
        elif len(fields) < self.width:
            found.append(self._too_short(number, fields))
        if self.faults:
            found += self._without_value(number) + self._merged(number)
        return found

    def _is_torn(self, fields: list[str]) -> bool:
        """Tell whether further fields hold something, or may come of a comma.

        Where a decimal comma tore a field, two figures stand side by side in a
        column that may have decimals, and the last fields may still be empty.
        """
        if any(field.strip() for field in fields[self.width :]):
            return True
        return any(
            fields[index].strip().isdigit() and fields[index + 1].strip().isdigit()
            for index in self.decimals
        )

    def _too_wide(self, number: int, fields: list[str]) -> Finding:
        return Finding(
            "error",
            "too-many-fields",
            f"The row has {len(fields)} fields where the header has {self.width}. A"
            " decimal comma without quotation marks does that: write decimals with a"
            " point, or take the empty fields at the end away.",
            row=number,
            seen=" | ".join(fields)[:200],
        )

    def _too_short(self, number: int, fields: list[str]) -> Finding:
        return Finding(
            "warning",
            "too-few-fields",
            f"The row has {len(fields)} fields where the header has {self.width}; those"
            " missing were read as empty. Look whether the row was cut off.",
            row=number,
        )

    def _without_value(self, number: int) -> list[Finding]:
        return [
            Finding(
                "error",
                "formula-without-value",
                f"Column {column} holds a formula whose value was not saved. Type the"
                " value itself, or save the workbook in a spreadsheet program.",
                row=number,
                column=column,
            )
            for column in self.context.broken_cells.get(number, ())
        ]

    def _merged(self, number: int) -> list[Finding]:
        ranges = self.context.merged_rows.get(number, ())
        if not ranges:
            return []
        return [
            Finding(
                "error",
                "merged-cells",
                f"Cells are merged at {', '.join(ranges)}: it cannot be told which rows"
                " the value belongs to. Type it into each row here, or unmerge them"
                " and send the workbook again.",
                row=number,
                seen=", ".join(ranges),
            )
        ]
