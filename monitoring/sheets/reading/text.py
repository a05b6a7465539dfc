"""Read CSV and its relatives as a stream, without holding the file."""

import codecs
import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.sheets.reading.limits import FIELD_CHARS

BLOCK_BYTES = 1 << 20
DELIMITERS = ",;\t|"
# Bytes that Windows-1252 leaves undefined, and letters no sheet is written with.
NOT_WINDOWS = frozenset(b"\x81\x8d\x8f\x90\x9d\xfe\xff")
csv.field_size_limit(1 << 24)


@dataclass(frozen=True, slots=True)
class TextFormat:
    """How a text file is written down."""

    encoding: str
    delimiter: str
    findings: tuple[Finding, ...]
    skip_first_line: bool = False


def format_of(path: Path) -> TextFormat:
    """Find encoding and delimiter, or refuse the file in words."""
    encoding, findings = _encoding_of(path)
    with path.open(encoding=encoding, newline=None) as file:
        first = file.readline(FIELD_CHARS * 10)
        skip = first.lower().startswith("sep=") and len(first.strip()) == 5
        if skip:
            return TextFormat(
                encoding, first.strip()[4], findings, skip_first_line=True
            )
        sample = [first, *(file.readline(FIELD_CHARS * 10) for _ in range(20))]
    return TextFormat(encoding, _delimiter_of(sample), findings)


def _encoding_of(path: Path) -> tuple[str, tuple[Finding, ...]]:
    with path.open("rb") as file:
        head = file.read(4096)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        _must_decode(path, "utf-16")
        return "utf-16", ()
    guessed = _utf16_without_mark(head)
    if guessed:
        _must_decode(path, guessed)
        return guessed, ()
    _refuse_nul(path)
    fault = _first_utf8_fault(path)
    if fault is None:
        return "utf-8-sig", ()
    if head.startswith(codecs.BOM_UTF8) or _has_utf8_letters(path):
        raise _mixed(fault)
    if _is_windows(path):
        return "cp1252", (
            Finding(
                "warning",
                "encoding-guessed",
                "The file is not UTF-8; it was read as Windows-1252. Look whether"
                " names with accents are right below.",
            ),
        )
    raise _mixed(fault)


def _utf16_without_mark(head: bytes) -> str | None:
    """Guess UTF-16 by its pattern of NUL bytes, as ASCII text has it."""
    if len(head) < 4 or b"\x00" not in head:
        return None
    even, odd = head[::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if odd > half * 0.6 and even == 0:
        return "utf-16-le"
    if even > half * 0.6 and odd == 0:
        return "utf-16-be"
    return None


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            yield block


def _refuse_nul(path: Path) -> None:
    lines = 1
    for block in _blocks(path):
        _refuse_nul_in(block.decode("latin-1"), lines)
        lines += block.count(b"\n")


def _refuse_nul_in(text: str, lines: int) -> None:
    at = text.find("\x00")
    if at >= 0:
        raise UnreadableSheetError(
            "nul-byte",
            f"Line {lines + text[:at].count(chr(10))} holds a NUL byte, which no table"
            " has: the file is damaged. Export it again.",
        )


def _must_decode(path: Path, encoding: str) -> None:
    decoder = codecs.getincrementaldecoder(encoding)("strict")
    lines = 1
    try:
        for block in _blocks(path):
            text = decoder.decode(block)
            _refuse_nul_in(text, lines)
            lines += text.count("\n")
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        raise UnreadableSheetError(
            "not-utf-16",
            "The file begins as UTF-16 but does not go on so: it is damaged."
            " Export it again, as UTF-8 if there is a choice.",
        ) from error


def _first_utf8_fault(path: Path) -> tuple[int, int] | None:
    """Give line and byte of the first thing that is not UTF-8."""
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    line = 1
    for block in _blocks(path):
        pending = decoder.getstate()[0]
        try:
            decoder.decode(block)
        except UnicodeDecodeError as error:
            whole = pending + block
            return line + whole[: error.start].count(b"\n"), whole[error.start]
        line += block.count(b"\n")
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        return line, error.object[error.start]
    return None


def _has_utf8_letters(path: Path) -> bool:
    """Tell whether the file has letters beyond ASCII that are proper UTF-8."""
    for block in _blocks(path):
        if any(ord(char) > 127 for char in block.decode("utf-8", errors="ignore")):
            return True
    return False


def _is_windows(path: Path) -> bool:
    return not any(NOT_WINDOWS.intersection(block) for block in _blocks(path))


def _mixed(fault: tuple[int, int]) -> UnreadableSheetError:
    line, byte = fault
    return UnreadableSheetError(
        "mixed-encoding",
        f"Line {line} holds the byte 0x{byte:02X}, which is not UTF-8, although other"
        " letters are or it fits no other common encoding. Export the file again as"
        " UTF-8.",
    )


def _delimiter_of(lines: list[str]) -> str:
    """Choose the sign that splits the busiest line into most fields."""
    counts = {
        sign: max((_outside_quotes(line).count(sign) for line in lines), default=0)
        for sign in DELIMITERS
    }
    return max(DELIMITERS, key=lambda sign: counts[sign])


def _outside_quotes(line: str) -> str:
    return "".join(line.split('"')[::2])


def text_rows(path: Path, form: TextFormat) -> Iterator[tuple[int, list[str]]]:
    """Yield row number and fields; an empty line counts as a row, and is skipped."""
    number = 0
    with path.open(encoding=form.encoding, newline=None) as file:
        rows = csv.reader(file, delimiter=form.delimiter, strict=True)
        while True:
            number += 1
            try:
                fields = next(rows)
            except StopIteration:
                return
            except csv.Error as error:
                raise _bad_quotes(number, error) from error
            if number == 1 and form.skip_first_line:
                continue
            if any(field.strip() for field in fields):
                yield number, fields


def _bad_quotes(number: int, error: csv.Error) -> UnreadableSheetError:
    return UnreadableSheetError(
        "bad-quotes",
        f"Row {number} opens a quotation mark that is not closed, or closes one in the"
        f" middle of a field ({error}). Mend the quotation marks in that row.",
    )
