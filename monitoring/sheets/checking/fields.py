"""Parse the columns of a sheet, each distinct text once."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from monitoring.sheets.checking.values import (
    AskError,
    DoubtError,
    FaultError,
    clean,
    refuse_spreadsheet_error,
)
from monitoring.sheets.findings import Level
from monitoring.sheets.reading.limits import FIELD_CHARS

# A column with more different texts than this is parsed without remembering them, so
# that memory stays flat.
REMEMBERED = 20_000


@dataclass(frozen=True, slots=True)
class Issue:
    """What a parser had to say about one text."""

    level: Level
    code: str
    sentence: str


UNSEEN = Issue(
    "warning",
    "unseen-signs",
    "Signs that cannot be seen were taken out of this field.",
)
SPACES = Issue(
    "warning",
    "outer-spaces",
    "Spaces before or after values of this column were taken away.",
)


def _refuse_long(text: str) -> None:
    if len(text) > FIELD_CHARS:
        raise FaultError(
            "field-too-long",
            f"The field has {len(text):,} signs; up to {FIELD_CHARS:,} are taken. A"
            " quotation mark may be missing here.",
        )


@dataclass(frozen=True, slots=True)
class Parsed:
    """A parser's answer: a value, and at most a few issues."""

    value: Any
    issues: tuple[Issue, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether there is a value to go on with."""
        return all(issue.level == "warning" for issue in self.issues)


@dataclass(slots=True)
class FieldParser:
    """One column's parser with its memory.

    `empty` is the value of an empty field; None in `parse` means an empty field is an
    error.
    """

    column: str
    index: int | None
    parse: Callable[[str], Any]
    empty: Any = None
    required: bool = False
    memory: dict[str, Parsed] = field(default_factory=dict)

    def read(self, fields: list[str]) -> Parsed:
        """Give the column's value in a row."""
        text = fields[self.index] if self.index is not None else ""
        known = self.memory.get(text)
        if known is None:
            known = self._parse(text)
            if len(self.memory) < REMEMBERED:
                self.memory[text] = known
        return known

    def _parse(self, text: str) -> Parsed:
        plain, changed = clean(text)
        if not plain:
            return self._empty()
        issues: tuple[Issue, ...] = (UNSEEN,) if changed else ()
        if not changed and text != text.strip():
            issues = (SPACES,)
        try:
            _refuse_long(text)
            refuse_spreadsheet_error(plain)
            return Parsed(self.parse(plain), issues)
        except FaultError as fault:
            return Parsed(None, (Issue("error", fault.code, fault.sentence),))
        except DoubtError as doubt:
            issue = Issue("warning", doubt.code, doubt.sentence)
            return Parsed(doubt.value, (*issues, issue))
        except AskError as asked:
            return Parsed(None, (Issue("question", asked.key, ""),))

    def _empty(self) -> Parsed:
        if not self.required:
            return Parsed(self.empty)
        return Parsed(
            None,
            (
                Issue(
                    "error", "empty-field", "The field is empty; it must be filled in."
                ),
            ),
        )
