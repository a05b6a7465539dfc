"""Check a sheet of blank washes, row by row."""

from typing import Any

from monitoring.sheets.checking import codes
from monitoring.sheets.checking.bags import BagChecker
from monitoring.sheets.checking.context import TypedBlank, TypedTally
from monitoring.sheets.checking.fields import FieldParser, Issue
from monitoring.sheets.checking.values import FaultError
from monitoring.sheets.findings import Finding

Checked = tuple[TypedBlank | None, list[TypedTally], list[Finding]]


class BlankChecker(BagChecker):
    """Turn raw rows into blank washes, with everything wrong in each.

    A blank's counts, dish and analyst are read as a bag's are.
    """

    def _parsers(self) -> list[FieldParser]:
        of_the_count = {"dish", "analyst"}
        return [
            self._parser("blank", codes.bag_code, required=True),
            self._parser("washed_on", self._day(), required=True),
            self._parser("after_bag", codes.bag_code, empty=""),
            self._parser("block", codes.name, empty=""),
            self._parser("farm", codes.name, empty=""),
            self._parser("collected_on", self._day()),
            self._numbered("wash"),
            self._parser("note", str, empty=""),
            *(one for one in self._of_the_count() if one.column in of_the_count),
        ]

    def check_blank(self, number: int, fields: list[str]) -> Checked:
        """Check one row; without a typed blank it cannot count yet."""
        found: list[Finding] = []
        if self.totals.is_total(fields):
            return None, [], self.totals.compare(number, fields)
        found += self.shape.look_at(number, fields)
        if any(finding.code == "too-many-fields" for finding in found):
            return None, [], found
        fields = self.shape.fitted(fields)
        row, usable = self._read_columns(number, fields, found)
        counts = self._read_tallies(number, fields, row.get("dish"), found)
        self._look_across(number, fields, row, found)
        if all(finding.level == "warning" for finding in found):
            found += _without_a_count(number, counts)
        self.totals.add(fields)
        if not usable or any(finding.level != "warning" for finding in found):
            return None, [], found
        return self._typed_blank(number, row), counts, found

    def _look_across(
        self, number: int, fields: list[str], row: dict[str, Any], found: list[Finding]
    ) -> None:
        """Check the days, and that a bag before the blank can be found."""
        for column in ("collected_on", "washed_on"):
            self._check_day(column, fields, row, found)
        if not row["after_bag"]:
            row["block"], row["collected_on"] = None, None
            return
        if not (row["block"] and row["collected_on"]):
            if not any(item.column in {"block", "collected_on"} for item in found):
                found.append(
                    _finding(
                        number,
                        "after_bag",
                        "after-bag-without-round",
                        "Codes of bags come again in every round: give the bag's block"
                        " and the day it was collected too, or leave after_bag empty.",
                    )
                )
            return
        try:
            row["block"] = self._block(row["block"], row["farm"] or "")
        except FaultError as fault:
            issue = Issue("error", fault.code, fault.sentence)
            found.append(_finding(number, "block", issue.code, issue.sentence))

    def _typed_blank(self, number: int, row: dict[str, Any]) -> TypedBlank:
        analyst_id, analyst_name = row["analyst"]
        return TypedBlank(
            number=number,
            code=row["blank"],
            washed_on=row["washed_on"],
            after_code=row["after_bag"],
            block_id=row["block"],
            collected_on=row["collected_on"],
            wash=row["wash"],
            dish_id=row["dish"].key if row["dish"] else None,
            analyst_id=analyst_id,
            analyst_name=analyst_name,
            note=row["note"],
        )


def _without_a_count(number: int, counts: list[TypedTally]) -> list[Finding]:
    """Say what is wrong with a blank of which nothing, or no figure, is known."""
    if not counts:
        return [
            _finding(
                number,
                "blank",
                "blank-without-count",
                "Nothing was counted in this blank. Write 0 where none was found, or"
                " leave the row out.",
            )
        ]
    if any(one.outcome == "uncountable" for one in counts):
        return [
            _finding(
                number,
                "blank",
                "blank-uncountable",
                "A blank that cannot be counted tells nothing of what is carried over."
                " Leave the count empty and say under note what was seen.",
            )
        ]
    return []


def _finding(number: int, column: str, code: str, sentence: str) -> Finding:
    return Finding("error", code, sentence, row=number, column=column)
