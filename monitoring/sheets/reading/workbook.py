"""Read a workbook through the limited child process."""

import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Timer
from typing import Any

from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.reading.limits import CHILD_WALL_S

CHILD = "monitoring.sheets.reading.workbook_child"
ROOT = Path(__file__).resolve().parents[3]


@dataclass(frozen=True, slots=True)
class Workbook:
    """What was seen of a workbook before its rows."""

    worksheets: list[str]
    worksheet: str
    epoch_1904: bool
    hidden_rows: frozenset[int]
    merged: tuple[str, ...] = ()
    formulas_without_value: frozenset[str] = field(default_factory=frozenset)
    findings: tuple[Finding, ...] = ()


@contextmanager
def open_workbook(
    path: Path, worksheet: str = ""
) -> Iterator[tuple[Workbook, Iterator[tuple[int, list[str]]]]]:
    """Give what the workbook is, and its rows; or UnreadableSheetError."""
    child = subprocess.Popen(  # noqa: S603 - our own module, no shell
        [sys.executable, "-m", CHILD, str(path), worksheet],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        stdin=subprocess.DEVNULL,
        cwd=ROOT,
        env={"PATH": "/usr/bin:/bin", "PYTHONIOENCODING": "utf-8"},
    )
    clock = Timer(CHILD_WALL_S, child.kill)
    clock.start()
    try:
        lines = _lines_of(child)
        meta = next(lines, None)
        if not isinstance(meta, dict):
            raise _stopped()
        yield _describe(meta), ((line[0], line[1]) for line in lines)
    finally:
        clock.cancel()
        child.kill()
        child.wait()
        if child.stdout is not None:
            child.stdout.close()


def _stopped() -> UnreadableSheetError:
    return UnreadableSheetError(
        "workbook-stopped",
        "Reading the workbook took more time or memory than is allowed, so it was"
        " stopped. Save the sheet with the counts alone as CSV and send that.",
    )


def _lines_of(child: subprocess.Popen[bytes]) -> Iterator[Any]:
    for line in child.stdout or ():
        try:
            parsed = json.loads(line)
        except ValueError as error:
            raise _stopped() from error
        if isinstance(parsed, dict) and "refused" in parsed:
            refused = parsed["refused"]
            raise UnreadableSheetError(refused["code"], refused["sentence"])
        yield parsed
    if child.wait() != 0:
        raise _stopped()


def _describe(meta: dict[str, Any]) -> Workbook:
    return Workbook(
        worksheets=meta["worksheets"],
        worksheet=meta["worksheet"],
        epoch_1904=meta["epoch_1904"],
        hidden_rows=frozenset(meta["hidden_rows"]),
        merged=tuple(meta["merged"]),
        formulas_without_value=frozenset(meta["formulas_without_value"]),
        findings=tuple(_warnings(meta)),
    )


def _warnings(meta: dict[str, Any]) -> Iterator[Finding]:
    told = (
        (meta["formulas"], "formulas", "formulas; the values last shown are read."),
        (
            meta["hidden_columns"],
            "hidden-columns",
            "hidden columns; they are read too.",
        ),
        (
            meta["hidden_worksheets"],
            "hidden-worksheets",
            "hidden worksheets; left out.",
        ),
    )
    for number, code, words in told:
        if number:
            yield Finding("warning", code, f"The worksheet has {number} {words}")
    if meta["filtered"]:
        yield Finding(
            "warning", "filtered", "A filter is set; rows it hides are read as well."
        )
    if meta["comments"] or meta["pictures"]:
        yield Finding(
            "warning", "comments", "Comments and pictures in the workbook are left out."
        )
