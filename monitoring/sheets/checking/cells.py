"""Check a sheet of the cell layout, row by row."""

from functools import partial

from monitoring.sheets.checking import codes, lookups, values
from monitoring.sheets.checking.context import Context, TypedCell
from monitoring.sheets.checking.fields import FieldParser
from monitoring.sheets.checking.shape import RowShape
from monitoring.sheets.findings import Finding
from monitoring.sheets.reading.header import Header

LARGEST_NUMBER = 32_767


def cell_name(text: str, context: Context) -> str:
    """Read the name of one cell that some dish of the group has."""
    name = text.upper()
    if not any(name in dish.cell_areas_mm2 for dish in context.dishes.values()):
        raise values.FaultError(
            "no-such-cell",
            f"No dish of this group has a cell “{text}”. Cells are named by column"
            " letters and row numbers, such as H8; look at the dish's drawing under"
            " Laboratory.",
        )
    return name


class CellChecker:
    """Turn raw rows into typed cells, with everything wrong in each."""

    def __init__(self, header: Header, context: Context) -> None:
        index = header.columns.get
        whole = partial(
            values.whole_number, lowest=1, highest=LARGEST_NUMBER, what="a number"
        )
        self.shape = RowShape(len(header.headings), context)
        self.parsers = [
            FieldParser("bag", index("bag"), codes.bag_code, required=True),
            FieldParser(
                "organism",
                index("organism"),
                partial(lookups.organism, context=context),
                required=True,
            ),
            FieldParser(
                "cell",
                index("cell"),
                partial(cell_name, context=context),
                required=True,
            ),
            FieldParser(
                "count",
                index("count"),
                partial(
                    values.whole_number,
                    lowest=0,
                    highest=values.LARGEST_COUNT,
                    what="a count",
                ),
                required=True,
            ),
            FieldParser("wash", index("wash"), whole, empty=1),
            FieldParser("dish_number", index("dish_number"), whole, empty=1),
            FieldParser("reading", index("reading"), whole, empty=1),
        ]

    def check(
        self, number: int, fields: list[str]
    ) -> tuple[TypedCell | None, list[Finding]]:
        """Check one row."""
        found = self.shape.look_at(number, fields)
        fields = self.shape.fitted(fields)
        read = []
        for parser in self.parsers:
            parsed = parser.read(fields)
            read.append(parsed.value)
            text = fields[parser.index] if parser.index is not None else ""
            found += [
                Finding(
                    issue.level,
                    issue.code,
                    issue.sentence,
                    row=number,
                    column=parser.column,
                    seen=text.strip()[:200],
                )
                for issue in parsed.issues
            ]
        if any(finding.level != "warning" for finding in found):
            return None, found
        return TypedCell(number, *read), found
