"""Recognise a closing row of totals, and compare it with the rows above."""

from monitoring.sheets.checking.context import Context
from monitoring.sheets.columns import normal_name
from monitoring.sheets.findings import Finding
from monitoring.sheets.reading.header import Header

TOTAL_WORDS = frozenset({"total", "totals", "sum", "sums", "grand_total", "all_bags"})


class Totals:
    """Sums of the count columns so far."""

    def __init__(self, header: Header, context: Context) -> None:
        self.columns = {
            code: header.columns[code]
            for code in context.organisms
            if code in header.columns
        }
        self.block = header.columns.get("block")
        self.sums = dict.fromkeys(self.columns, 0)

    def add(self, fields: list[str]) -> None:
        """Add a row's counts; texts that are no counts add nothing."""
        for code, index in self.columns.items():
            text = fields[index].strip()
            if text.isascii() and text.isdigit() and len(text) < 10:
                self.sums[code] += int(text)

    def is_total(self, fields: list[str]) -> bool:
        """Tell whether a row names itself a total and no block."""
        first = next((field for field in fields if field.strip()), "")
        if normal_name(first) not in TOTAL_WORDS:
            return False
        has_block = self.block is not None and self.block < len(fields)
        return not has_block or normal_name(fields[self.block or 0]) in {
            "",
            *TOTAL_WORDS,
        }

    def compare(self, number: int, fields: list[str]) -> list[Finding]:
        """Drop the row with a word about it, or say where it differs."""
        wrong = [
            Finding(
                "error",
                "total-differs",
                f"The row of totals says {fields[index].strip()}; the rows above add"
                f" up to {self.sums[code]}. A row may be missing or mistyped.",
                row=number,
                column=code,
                seen=fields[index].strip(),
            )
            for code, index in self.columns.items()
            if index < len(fields)
            and fields[index].strip()
            and fields[index].strip() != str(self.sums[code])
        ]
        return wrong or [
            Finding(
                "warning",
                "total-row",
                "A row of totals; it agrees with the rows above and was left out.",
                row=number,
            )
        ]
