"""Carry a sheet from step to step; each step is one transaction.

A step that is killed leaves the sheet where it was, so it can be done again; a step
that somebody else is doing is left to them.
"""

import logging
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import IntegrityError, connection, transaction
from django.utils import timezone

from blocks.files import path_of
from blocks.tenancy import stating
from blocks.wakeups import wake_after_commit
from monitoring.models import Sheet, SheetFinding
from monitoring.sheets import sql_publish
from monitoring.sheets.copying import copy_rows
from monitoring.sheets.findings import Finding, Question, UnreadableSheetError
from monitoring.sheets.intake import read_into_rows
from monitoring.sheets.known import scale_for
from monitoring.sheets.publishing_lock import hold_publishing
from monitoring.sheets.staging import CHANGED_KEY, RESCORED_KEY, Staged, stage

logger = logging.getLogger(__name__)
State = Sheet.State
FINDING_COLUMNS = ("row_number", "column", "level", "code", "seen", "sentence")


def work_on(farm_group_id: int, sheet_id: int) -> str:
    """Do every step that is due; give the state in which the sheet is left."""
    while True:
        with stating(farm_group_id):
            sheet = (
                Sheet.objects.for_group(farm_group_id)
                .select_for_update(skip_locked=True, of=("self",))
                .filter(pk=sheet_id)
                .first()
            )
            step = STEPS.get(sheet.state) if sheet else None
            if sheet is None or step is None:
                return sheet.state if sheet else "busy or gone"
            step(sheet)
            _save(sheet)


def _save(sheet: Sheet) -> None:
    sheet.state_changed_at = timezone.now()
    sheet.save()


def _begin(sheet: Sheet) -> None:
    sheet.state = State.READING


def _read(sheet: Sheet) -> None:
    path = path_of("sheets", sheet.farm_group_id, sheet.stored_name)
    try:
        with transaction.atomic():
            _, findings = read_into_rows(sheet, path)
    except UnreadableSheetError as refused:
        _refuse(sheet, refused)
    except FileNotFoundError:
        _refuse(
            sheet,
            UnreadableSheetError(
                "file-gone", "The stored file is gone. Send the file again."
            ),
        )
    else:
        sheet.summary["read_findings"] = [
            [finding.row, finding.column, finding.level, finding.code, finding.seen,
             finding.sentence]
            for finding in findings
        ]  # fmt: skip
        sheet.state = State.CHECKING


def _refuse(sheet: Sheet, refused: UnreadableSheetError) -> None:
    sheet.state = State.REFUSED
    sheet.summary = {"refused": refused.code, "sentence": refused.sentence}
    _replace_findings(sheet, [Finding("error", refused.code, refused.sentence)])


def _check(sheet: Sheet) -> None:
    try:
        staged = stage(sheet, may_add_organisms=True)
    except UnreadableSheetError as refused:
        # An organism that was added since may make two columns mean the same.
        _refuse(sheet, refused)
        return
    _note_outcome(sheet, staged)
    sheet.state = State.CHECKED


def _note_outcome(sheet: Sheet, staged: Staged) -> None:
    read = [
        Finding(level, code, sentence, row=row, column=column, seen=seen)
        for row, column, level, code, seen, sentence in sheet.summary.get(
            "read_findings", []
        )
    ]
    findings = staged.all_findings()
    _replace_findings(sheet, [*read, *findings])
    sheet.summary |= {
        "errors": staged.errors,
        "warnings": len(read) + len(findings) - staged.errors,
        "questions": [_as_json(question) for question in staged.questions],
        "open_questions": [
            question.key for question in open_questions(sheet, staged.questions)
        ],
    } | _tallied()


def _as_json(question: Question) -> dict[str, Any]:
    return {
        "key": question.key,
        "sentence": question.sentence,
        "choices": [list(choice) for choice in question.choices],
    }


def open_questions(sheet: Sheet, questions: list[Question]) -> list[Question]:
    """Give the questions that have no valid answer yet."""
    return [
        question
        for question in questions
        if sheet.answers.get(question.key)
        not in {value for value, _ in question.choices}
    ]


def _tallied() -> dict[str, int]:
    names = ("new", "changed", "same", "detail", "new_bags", "new_rounds", "bags",
        "new_scores", "changed_scores", "new_blanks")  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute(sql_publish.TALLIED)
        return dict(zip(names, cursor.fetchone(), strict=True))


def _replace_findings(sheet: Sheet, findings: list[Finding]) -> None:
    SheetFinding.objects.for_group(sheet.farm_group_id).filter(sheet=sheet).delete()
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS staged_finding")
        cursor.execute(
            'CREATE TEMP TABLE staged_finding (row_number integer, "column" text,'
            " level text, code text, seen text, sentence text) ON COMMIT DROP"
        )
    copy_rows(
        "staged_finding",
        FINDING_COLUMNS,
        (
            (
                finding.row,
                finding.column[:80],
                finding.level,
                finding.code,
                finding.seen[:200],
                finding.sentence,
            )
            for finding in findings
        ),
    )
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO monitoring_sheetfinding (farm_group_id, sheet_id, row_number,"
            ' "column", level, code, seen, sentence) SELECT %s, %s, row_number,'
            ' "column", level, code, seen, sentence FROM staged_finding',
            [sheet.farm_group_id, sheet.pk],
        )


def _publish(sheet: Sheet) -> None:
    try:
        with transaction.atomic():
            _publish_whole(sheet)
    except UnreadableSheetError as refused:
        _refuse(sheet, refused)
    except IntegrityError:
        sheet.refresh_from_db()
        _give_way(sheet)


def _give_way(sheet: Sheet) -> None:
    """Put the sheet aside for the same file's publication, or check it again."""
    same = Sheet.objects.for_group(sheet.farm_group_id).filter(
        sha256=sheet.sha256, state=State.PUBLISHED
    )
    if same.exists():
        logger.info("Sheet %s was published by somebody else first.", sheet.pk)
        sheet.state = State.DISCARDED
        sheet.summary["sentence"] = "The same file was published in the meantime."
    else:
        # Something that it brings came from elsewhere since it was staged.
        logger.warning("Sheet %s met other writes and is checked again.", sheet.pk)
        sheet.state = State.CHECKING


def _publish_whole(sheet: Sheet) -> None:
    hold_publishing(sheet.farm_group_id)
    staged = stage(sheet, may_add_organisms=True)
    _note_outcome(sheet, staged)
    if staged.errors or sheet.summary["open_questions"]:
        sheet.state = State.CHECKED
        return
    parameters = {
        "group": sheet.farm_group_id,
        "sheet": sheet.pk,
        "person": sheet.published_by_id,
        "correct": sheet.answers.get(CHANGED_KEY) == "correction",
        "reason": sheet.answers.get("reason", "")[:300],
        "rescore": sheet.answers.get(RESCORED_KEY) == "correction",
        "scale": scale_for(sheet.farm_group_id).pk,
    }
    with connection.cursor() as cursor:
        for statement in sql_publish.IN_ORDER:
            cursor.execute(statement, parameters)
    sheet.state = State.PUBLISHED
    sheet.published_at = timezone.now()
    _save(sheet)
    wake_after_commit(settings.WAKE_DENSITIES_TASK)


STEPS: dict[str, Callable[[Sheet], None]] = {
    State.RECEIVED: _begin,
    State.READING: _read,
    State.CHECKING: _check,
    State.PUBLISHING: _publish,
}
