"""Check a sheet of the bag layout, row by row."""

from collections.abc import Callable
from datetime import date, timedelta
from functools import partial
from typing import Any

from monitoring.sheets.checking import codes, days, lookups, values
from monitoring.sheets.checking.context import (
    Context,
    DishInfo,
    TypedRow,
    TypedTally,
)
from monitoring.sheets.checking.fields import FieldParser, Issue
from monitoring.sheets.checking.shape import RowShape
from monitoring.sheets.checking.tallies import TallyReader
from monitoring.sheets.checking.totals import Totals
from monitoring.sheets.columns import CELLS_SUFFIX
from monitoring.sheets.findings import Finding
from monitoring.sheets.reading.header import Header

Checked = tuple[TypedRow | None, list[TypedTally], list[Finding]]
SMALL = 32_767
# What a wash may be like at all; departures from the usual are kept, not refused.
ALCOHOL_PERCENT, VOLUME_ML, SHAKE_S = (0, 100), (1, 5000), (0, 3600)
# Days that cannot lie before the bag was collected, with what was done on them.
AFTER_COLLECTING = {"washed_on": "washed", "scored_on": "scored"}
MEASURED = ("alcohol_percent", "volume_ml", "shake_s")


class BagChecker:
    """Turn raw rows into typed rows, with everything wrong in each."""

    def __init__(self, header: Header, context: Context) -> None:
        self.header = header
        self.context = context
        self.totals = Totals(header, context)
        self.parsers = {
            parser.column: parser for parser in self._parsers() if parser.column
        }
        self.tallies = [
            TallyReader(
                key,
                FieldParser(code, header.columns[code], self._count(code)),
                FieldParser(
                    code + CELLS_SUFFIX,
                    header.columns.get(code + CELLS_SUFFIX),
                    values.cells,
                ),
            )
            for code, key in context.organisms.items()
            if code in header.columns
        ]
        self.shape = RowShape(
            len(header.headings),
            context,
            decimals=[
                header.columns[name] for name in MEASURED if name in header.columns
            ],
        )
        self.slash_orders: dict[str, tuple[int, str]] = {}
        self._blocks: dict[tuple[str, str], int] = {}

    def _count(self, code: str) -> Callable[[str], Any]:
        if code in self.context.predators:
            return partial(values.count, plausible=values.PLAUSIBLE_PREDATORS)
        return values.count

    def _parsers(self) -> list[FieldParser]:
        return [*self._of_the_bag(), *self._of_the_wash(), *self._of_the_count()]

    def _parser(
        self,
        column: str,
        parse: Callable[[str], Any],
        *,
        empty: Any = None,
        required: bool = False,
    ) -> FieldParser:
        index = self.header.columns.get(column)
        return FieldParser(column, index, parse, empty, required)

    def _day(self) -> Callable[[str], Any]:
        context = self.context
        return partial(
            days.calendar_day,
            epoch_1904=context.epoch_1904,
            slash_answer=context.answers.get(days.SLASH_DATES),
            zone=context.zone,
        )

    def _numbered(self, column: str) -> FieldParser:
        parse = partial(values.whole_number, lowest=1, highest=SMALL, what="a number")
        return self._parser(column, parse, empty=1)

    def _measured(self, column: str, ends: tuple[int, int], unit: str) -> FieldParser:
        parse = partial(
            values.decimal,
            lowest=ends[0],
            highest=ends[1],
            unit=unit,
            comma=self.context.decimal_comma,
        )
        return self._parser(column, parse)

    def _of_the_bag(self) -> list[FieldParser]:
        tissue = partial(lookups.word, words=lookups.TISSUES, what="tissue")
        position = partial(
            lookups.word, words=lookups.POSITIONS, what="canopy position"
        )
        score = partial(lookups.score, context=self.context)
        scorer = partial(lookups.analyst, context=self.context)
        return [
            self._parser("bag", codes.bag_code, required=True),
            self._parser("block", codes.name, required=True),
            self._parser("farm", codes.name, empty=""),
            self._parser("collected_on", self._day(), required=True),
            self._parser("tissue", tissue, required=True),
            self._parser("position", position, empty=""),
            self._parser("units", lookups.units, empty=1),
            self._parser("growth_stage", values.growth_stage, empty=("", "")),
            self._parser("symptoms", score),
            self._parser("scored_by", scorer, empty=(None, "")),
            self._parser("scored_on", self._day()),
            self._parser("note", str, empty=""),
        ]

    def _of_the_wash(self) -> list[FieldParser]:
        return [
            self._numbered("wash"),
            self._parser("washed_on", self._day()),
            self._measured("alcohol_percent", ALCOHOL_PERCENT, "percent"),
            self._measured("volume_ml", VOLUME_ML, "ml"),
            self._measured("shake_s", SHAKE_S, "s"),
        ]

    def _of_the_count(self) -> list[FieldParser]:
        dish = partial(lookups.dish, context=self.context)
        analyst = partial(lookups.analyst, context=self.context)
        return [
            self._numbered("dish_number"),
            self._numbered("reading"),
            self._parser("dish", dish, empty=self.context.usual_dish),
            self._parser("analyst", analyst, empty=(None, "")),
        ]

    def check(self, number: int, fields: list[str]) -> Checked:
        """Check one row; without a typed row it cannot count yet."""
        found: list[Finding] = []
        if self.totals.is_total(fields):
            return None, [], self.totals.compare(number, fields)
        found += self.shape.look_at(number, fields)
        if any(finding.code == "too-many-fields" for finding in found):
            return None, [], found
        fields = self.shape.fitted(fields)
        row, usable = self._read_columns(number, fields, found)
        tallies = self._read_tallies(number, fields, row.get("dish"), found)
        self._look_across(number, fields, row, found)
        self.totals.add(fields)
        if not usable or any(finding.level != "warning" for finding in found):
            return None, [], found
        return self._typed(number, row), tallies, found

    def _read_columns(
        self, number: int, fields: list[str], found: list[Finding]
    ) -> tuple[dict[str, Any], bool]:
        row: dict[str, Any] = {"number": number}
        usable = True
        for column, parser in self.parsers.items():
            parsed = parser.read(fields)
            row[column] = parsed.value
            if parsed.issues:
                usable = usable and parsed.usable
                text = fields[parser.index] if parser.index is not None else ""
                found += [
                    _finding(number, column, text, issue) for issue in parsed.issues
                ]
        return row, usable

    def _read_tallies(
        self,
        number: int,
        fields: list[str],
        dish: DishInfo | None,
        found: list[Finding],
    ) -> list[TypedTally]:
        tallies = []
        told = {finding.column for finding in found}
        for reader in self.tallies:
            tally, issues = reader.read(fields, dish)
            if tally is not None:
                tallies.append(tally)
            for column, issue in issues:
                # What is wrong with the dish is told once, not for each organism.
                if issue.code == "no-dish" and "dish" in told:
                    continue
                told.add(column)
                index = self.header.columns.get(column)
                text = fields[index] if index is not None else ""
                found.append(_finding(number, column, text, issue))
        return tallies

    def _look_across(
        self, number: int, fields: list[str], row: dict[str, Any], found: list[Finding]
    ) -> None:
        """Check what one field alone does not show."""
        if row["block"]:
            try:
                row["block"] = self._block(row["block"], row["farm"] or "")
            except values.FaultError as fault:
                issue = Issue("error", fault.code, fault.sentence)
                found.append(_finding(number, "block", row["block"], issue))
        if row["tissue"] == "leaf" and row["position"] == "":
            issue = Issue(
                "error",
                "leaf-without-position",
                "A leaf needs its canopy position: low, mid or upper.",
            )
            found.append(_finding(number, "position", "", issue))
        for column in ("collected_on", *AFTER_COLLECTING):
            self._check_day(column, fields, row, found)

    def _block(self, name: str, farm: str) -> int:
        key = (name, farm)
        known = self._blocks.get(key)
        if known is None:
            known = self._blocks[key] = lookups.block(name, farm, self.context)
        return known

    def _check_day(
        self, column: str, fields: list[str], row: dict[str, Any], found: list[Finding]
    ) -> None:
        number, day = row["number"], row[column]
        index = self.header.columns.get(column)
        text = fields[index] if index is not None else ""
        if "/" in text:
            order = days.slash_order(text.strip())
            if order:
                self.slash_orders.setdefault(order, (number, text.strip()))
        if day is None:
            return
        issue = None
        if day > self.context.today + timedelta(days=1):
            issue = Issue(
                "error",
                "future-day",
                f"{day:%Y-%m-%d} has not come yet. Look at the day and the year.",
            )
        elif self._is_long_ago(day):
            issue = Issue(
                "warning",
                "before-first-season",
                f"{day:%Y-%m-%d} is before this group's first season. Look whether the"
                " year is right.",
            )
        elif (
            column in AFTER_COLLECTING
            and row["collected_on"]
            and (day < row["collected_on"])
        ):
            done = AFTER_COLLECTING[column]
            issue = Issue(
                "error",
                f"{done}-before-collected",
                f"The bag was {done} on {day:%Y-%m-%d}, before it was collected on"
                f" {row['collected_on']:%Y-%m-%d}. Look at both dates.",
            )
        if issue is not None:
            found.append(_finding(number, column, text, issue))

    def _is_long_ago(self, day: date) -> bool:
        first = self.context.first_round_on
        return first is not None and day.year < first.year

    def _typed(self, number: int, row: dict[str, Any]) -> TypedRow:
        analyst_id, analyst_name = row["analyst"]
        scorer_id, scorer_name = row["scored_by"]
        scale, code = row["growth_stage"]
        return TypedRow(
            number,
            row["block"],
            row["collected_on"],
            row["bag"],
            row["tissue"],
            row["position"],
            row["units"],
            scale,
            code,
            row["symptoms"],
            row["note"],
            row["wash"],
            row["washed_on"],
            row["alcohol_percent"],
            row["volume_ml"],
            row["shake_s"],
            analyst_id,
            analyst_name,
            row["dish"].key if row["dish"] else None,
            row["dish_number"],
            row["reading"],
            scorer_id,
            scorer_name,
            row["scored_on"],
        )

    def finish(self) -> list[Finding]:
        """Say what only the whole sheet shows."""
        return _contradicting_dates(self.slash_orders) if self.contradicts else []

    @property
    def contradicts(self) -> bool:
        """Whether dates with slashes cannot all be read one way, and none was said."""
        asked = days.SLASH_DATES in self.context.answers
        return len(self.slash_orders) > 1 and not asked


def _contradicting_dates(orders: dict[str, tuple[int, str]]) -> list[Finding]:
    (day_row, day_text) = orders["day_first"]
    (month_row, month_text) = orders["month_first"]
    return [
        Finding(
            "error",
            "dates-contradict",
            f"Row {day_row} has {day_text} (day first) and row {month_row} has"
            f" {month_text} (month first): the dates of this sheet cannot be read one"
            " way. Say below which comes first, or write them as 2026-08-14.",
            row=row,
            seen=text,
        )
        for row, text in ((day_row, day_text), (month_row, month_text))
    ]


def _finding(number: int, column: str, text: str, issue: Issue) -> Finding:
    return Finding(
        issue.level,
        issue.code,
        issue.sentence,
        row=number,
        column=column,
        seen=text.strip()[:200],
    )
