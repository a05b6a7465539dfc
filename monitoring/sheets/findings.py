"""One thing found wrong, doubtful or to be asked in a sheet."""

from dataclasses import dataclass
from typing import Literal

Level = Literal["error", "question", "warning"]


@dataclass(frozen=True, slots=True)
class Finding:
    """A sentence for the person: what was seen where, what is wrong, what to do.

    `row` is None for a finding about the whole file.
    """

    level: Level
    code: str
    sentence: str
    row: int | None = None
    column: str = ""
    seen: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """Something that only the person can know, asked once a sheet.

    choices: pairs of value and label.
    """

    key: str
    sentence: str
    choices: tuple[tuple[str, str], ...]


class UnreadableSheetError(Exception):
    """The file as a whole cannot be taken; the sentence says why and what to do."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
