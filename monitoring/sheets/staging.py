"""Check a sheet's rows and stage what they say, for looking at and for publishing."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db import connection

from monitoring.models import Sheet
from monitoring.sheets import sql, sql_blanks, sql_cells, sql_scores
from monitoring.sheets.checking.bags import BagChecker
from monitoring.sheets.checking.blanks import BlankChecker
from monitoring.sheets.checking.cells import CellChecker
from monitoring.sheets.checking.context import Context
from monitoring.sheets.checking.days import SLASH_DATES
from monitoring.sheets.copying import copy_rows
from monitoring.sheets.findings import Finding, Question
from monitoring.sheets.known import context_for
from monitoring.sheets.progress import note_progress
from monitoring.sheets.reading.header import Header, find_header

BATCH = 5_000
# Warnings of the same kind about the same text are told once, with how often.
TOLD_APART = 2_000
# Warnings that are told once a column, whatever the text.
TOLD_BY_COLUMN = frozenset({"outer-spaces", "unseen-signs"})
CHANGED_KEY = "changed"
RESCORED_KEY = "rescored"
HIDDEN_KEY = "hidden_rows"


@dataclass(slots=True)
class Staged:
    """What checking found: findings, questions, and how many rows there are."""

    findings: list[Finding] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    warnings: dict[tuple[str, str, str], tuple[Finding, int]] = field(
        default_factory=dict
    )

    def add(self, found: Iterable[Finding]) -> None:
        """Keep findings; equal warnings are counted rather than kept."""
        for finding in found:
            if finding.level == "question":
                continue
            if finding.level == "error":
                self.findings.append(finding)
                continue
            by_text = finding.code not in TOLD_BY_COLUMN
            key = (finding.code, finding.column, finding.seen if by_text else "")
            first, times = self.warnings.get(key, (finding, 0))
            if times or len(self.warnings) < TOLD_APART:
                self.warnings[key] = (first, times + 1)

    @property
    def errors(self) -> int:
        """How many errors keep the sheet from being published."""
        return sum(finding.level == "error" for finding in self.findings)

    def all_findings(self) -> list[Finding]:
        """Give errors, then warnings with how often each was met."""
        told = [
            finding
            if times == 1
            else Finding(
                finding.level,
                finding.code,
                f"{finding.sentence} (In {times} rows, this is the first.)",
                row=finding.row,
                column=finding.column,
                seen=finding.seen,
            )
            for finding, times in self.warnings.values()
        ]
        return [*self.findings, *told]


def stage(sheet: Sheet, *, may_add_organisms: bool) -> Staged:
    """Check every row and stage it in temporary tables of this transaction."""
    context = context_for(sheet)
    header = find_header([(1, sheet.header)], context.organism_headings)
    staged = Staged()
    _create_tables()
    _ask_about_file(sheet, header, context, staged, may_add=may_add_organisms)
    if sheet.layout == "cells":
        _stage_cells(sheet, header, context, staged)
    elif sheet.layout == "blanks":
        _stage_blanks(sheet, header, context, staged)
    else:
        _stage_bags(sheet, header, context, staged)
    parameters = {"group": sheet.farm_group_id}
    _run(sql.LABELS, parameters)
    staged.add(_found(sql.LABEL_ELSEWHERE, parameters))
    staged.add(_found(sql.LABEL_UNKNOWN, parameters))
    _run(sql.RESOLVE, parameters)
    staged.add(_found(sql.ROWS_TWICE, parameters))
    staged.add(_found(sql.BAG_DIFFERS, parameters))
    staged.add(_found(sql.ZEROS_LOST, parameters))
    _ask_about_stages(sheet, staged)
    _run(sql.MATCH, parameters)
    changed = list(_found(sql.CHANGED, parameters))
    staged.add(changed)
    if changed:
        staged.questions.append(_changed_question(len(changed)))
    _stage_scores(parameters, staged)
    _run(sql_blanks.MATCH, parameters)
    for query in sql_blanks.FINDINGS:
        staged.add(_found(query, parameters))
    return staged


def _stage_scores(parameters: dict[str, Any], staged: Staged) -> None:
    _run(sql_scores.MATCH, parameters)
    staged.add(_found(sql_scores.DIFFERS, parameters))
    rescored = list(_found(sql_scores.CHANGED, parameters))
    staged.add(rescored)
    if rescored:
        staged.questions.append(_rescored_question(len(rescored)))


def _create_tables() -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {', '.join(sql.TABLES)}")
        cursor.execute(sql.CREATE)


def _run(statements: str, parameters: dict[str, Any]) -> None:
    """Run statements one by one: parameters are bound for one at a time."""
    with connection.cursor() as cursor:
        for statement in statements.split(";\n"):
            if statement.strip():
                cursor.execute(statement, parameters)


def _found(query: str, parameters: dict[str, Any]) -> Iterator[Finding]:
    with connection.cursor() as cursor:
        cursor.execute(query, parameters)
        for number, column, level, code, seen, sentence in cursor.fetchall():
            yield Finding(
                level, code, sentence, row=number, column=column, seen=seen or ""
            )


def rows_of(sheet: Sheet, context: Context) -> Iterator[list[tuple[int, list[str]]]]:
    """Yield the rows to be checked in batches, as corrected, without those left out."""
    hidden = context.hidden_rows if context.answers.get(HIDDEN_KEY) == "leave" else ()
    last = 0
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT number, coalesce(corrected, fields), left_out"
                " FROM monitoring_sheetrow WHERE farm_group_id = %s AND sheet_id = %s"
                " AND number > %s ORDER BY number LIMIT %s",
                [sheet.farm_group_id, sheet.pk, last, BATCH],
            )
            batch = cursor.fetchall()
        if not batch:
            return
        last = batch[-1][0]
        note_progress(sheet.pk, last)
        yield [
            (number, fields)
            for number, fields, left_out in batch
            if not (left_out or number in hidden)
        ]


def _stage_bags(sheet: Sheet, header: Header, context: Context, staged: Staged) -> None:
    checker = BagChecker(header, context)
    asked: set[str] = set()
    for batch in rows_of(sheet, context):
        rows, tallies = [], []
        for number, fields in batch:
            row, counted, found = checker.check(number, fields)
            if found:
                asked.update(item.code for item in found if item.level == "question")
                staged.add(found)
            if row is not None:
                rows.append(row)
                tallies += [(number, *tally, None) for tally in counted]
        copy_rows("staged_row", sql.ROW_COLUMNS, rows)
        copy_rows("staged_tally", sql.TALLY_COLUMNS, tallies)
    staged.add(checker.finish())
    if SLASH_DATES in asked or checker.contradicts:
        staged.questions.append(_slash_question())


def _stage_blanks(
    sheet: Sheet, header: Header, context: Context, staged: Staged
) -> None:
    checker = BlankChecker(header, context)
    asked: set[str] = set()
    for batch in rows_of(sheet, context):
        blanks, counts = [], []
        for number, fields in batch:
            blank, counted, found = checker.check_blank(number, fields)
            asked.update(item.code for item in found if item.level == "question")
            staged.add(found)
            if blank is not None:
                blanks.append(blank)
                counts += [(number, *tally, None) for tally in counted]
        copy_rows("staged_blank", sql.BLANK_COLUMNS, blanks)
        copy_rows("staged_tally", sql.TALLY_COLUMNS, counts)
    staged.add(checker.finish())
    if SLASH_DATES in asked or checker.contradicts:
        staged.questions.append(_slash_question())


def _stage_cells(
    sheet: Sheet, header: Header, context: Context, staged: Staged
) -> None:
    checker = CellChecker(header, context)
    for batch in rows_of(sheet, context):
        cells = []
        for number, fields in batch:
            cell, found = checker.check(number, fields)
            staged.add(found)
            if cell is not None:
                cells.append(cell)
        copy_rows("staged_cell", sql.CELL_COLUMNS, cells)
    copy_rows(
        "staged_dish_cell",
        ("dish_id", "cell", "share"),
        (
            (dish.key, cell, area / dish.area_mm2)
            for dish in context.dishes.values()
            for cell, area in dish.cell_areas_mm2.items()
        ),
    )
    usual = context.usual_dish
    parameters = {
        "group": sheet.farm_group_id,
        "round": context.answers.get("round"),
        "usual_dish": usual.key if usual else None,
    }
    _run(sql_cells.LABELS, parameters)
    staged.add(_found(sql_cells.UNKNOWN_BAGS, parameters))
    round_is_known = not _ask_about_round(parameters, staged)
    if round_is_known:
        _run(sql_cells.BAGS_BY_CODE, parameters)
        staged.add(_found(sql_cells.NOT_IN_ROUND, parameters))
    staged.add(_found(sql_cells.CELL_TWICE, parameters))
    if round_is_known:
        _run(sql_cells.TO_ROWS, parameters)
        staged.add(_found(sql_cells.CELL_NOT_ON_DISH, parameters))


def _ask_about_round(parameters: dict[str, Any], staged: Staged) -> bool:
    """Ask which round is meant where codes are not unique; tell if still unknown."""
    with connection.cursor() as cursor:
        cursor.execute(sql_cells.ROUNDS_ASKED, parameters)
        rounds = cursor.fetchall()
    if not rounds:
        return False
    staged.questions.append(
        Question(
            "round",
            "Bags of several rounds have these codes. Which round are the cells of?",
            tuple((str(key), f"{block}, {day:%Y-%m-%d}") for key, block, day in rounds),
        )
    )
    return parameters["round"] is None


def _slash_question() -> Question:
    return Question(
        SLASH_DATES,
        "Dates with slashes can be read in two ways. How is 03/04/2026 meant?",
        (
            ("day_first", "3 April 2026: the day comes first"),
            ("month_first", "4 March 2026: the month comes first"),
        ),
    )


def _changed_question(tallies: int) -> Question:
    return Question(
        CHANGED_KEY,
        f"{tallies} counts differ from what is published for the same bag, organism,"
        " dish and reading. What are the new ones?",
        (
            ("correction", "Corrections: they replace the old counts, which are kept"),
            ("recount", "Recounts: a further reading beside the old ones"),
        ),
    )


def _rescored_question(scores: int) -> Question:
    return Question(
        RESCORED_KEY,
        f"{scores} symptom scores differ from what is published for the same bag. Which"
        " shall stand?",
        (
            ("correction", "The new ones: they replace the old scores, which are kept"),
            ("keep", "The old ones: leave the new scores out"),
        ),
    )


def _ask_about_file(
    sheet: Sheet, header: Header, context: Context, staged: Staged, *, may_add: bool
) -> None:
    worksheets = sheet.summary.get("worksheets", [])
    if len(worksheets) > 1:
        staged.questions.append(
            Question(
                "worksheet",
                "The workbook has several worksheets. Which one holds the counts?",
                tuple((name, name) for name in worksheets),
            )
        )
    if context.hidden_rows:
        staged.questions.append(
            Question(
                HIDDEN_KEY,
                f"{len(context.hidden_rows)} rows are hidden in the workbook. Do they"
                " count?",
                (("read", "Yes, read them"), ("leave", "No, leave them out")),
            )
        )
    for name in header.unknown_organisms:
        choices = [("leave_out", "Leave these columns out")]
        if may_add:
            choices += [
                ("add_pest", "Add it as a pest"),
                ("add_predator", "Add it as a predator"),
                ("add_other", "Add it as neither"),
            ]
        staged.questions.append(
            Question(
                f"organism:{name}",
                f"“{name}” is not an organism that this group counts yet. What shall be"
                " done with its columns?",
                tuple(choices),
            )
        )


def _ask_about_stages(sheet: Sheet, staged: Staged) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql.STAGES_ASKED)
        asked = cursor.fetchall()
    for key, block, day, stages in asked:
        question = f"stage:{key}:{day:%Y-%m-%d}"
        staged.questions.append(
            Question(
                question,
                f"Rows of {block} on {day:%Y-%m-%d} name several growth stages. Which"
                " one is the round's?",
                tuple((stage, stage) for stage in stages),
            )
        )
        answer = sheet.answers.get(question)
        if answer in stages:
            with connection.cursor() as cursor:
                cursor.execute(
                    "UPDATE staged_round SET stage = %s WHERE collected_on = %s AND"
                    " block_id = (SELECT id FROM blocks_block WHERE uuid = %s)",
                    [answer, day, key],
                )
