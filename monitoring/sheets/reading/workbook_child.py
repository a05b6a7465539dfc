"""Open a workbook in a process of its own, and write its rows to standard output.

Run as `python -m monitoring.sheets.reading.workbook_child FILE [WORKSHEET]`. The first
line is a JSON object about the workbook, each further line a JSON array: row number
and fields. Limits on memory and time are set before the file is touched, so that a
hostile workbook stops this process and nothing else.
"""

import json
import re
import resource
import sys
import zipfile
from collections.abc import Callable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from monitoring.sheets.findings import UnreadableSheetError
from monitoring.sheets.reading import limits

CHUNK = 1 << 20
MIDNIGHT = time(0, 0)
CELL_WITH_FORMULA = re.compile(
    rb'<c r="([A-Z]+[0-9]+)"[^>]*>\s*<f[^>]*(?:/>|>[^<]*</f>)\s*(<v>[^<]|<is>)?'
)
MERGED = re.compile(rb'<mergeCell ref="([A-Z0-9:]+)"')
HIDDEN_ROW = re.compile(rb'<row r="([0-9]+)"[^>]*hidden="(?:1|true)"')
HIDDEN_COLUMN = re.compile(rb'<col [^>]*hidden="(?:1|true)"')
FILTER = re.compile(rb"<autoFilter")
DATE_1904 = re.compile(rb'date1904="(?:1|true)"')


def main() -> int:
    """Limit the process, read the workbook, and answer in words if it is refused."""
    memory = limits.CHILD_MEMORY_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    cpu = limits.CHILD_CPU_S
    resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    path = Path(sys.argv[1])
    wanted = sys.argv[2] if len(sys.argv) > 2 else ""
    try:
        for line in _lines(path, wanted):
            sys.stdout.write(json.dumps(line) + "\n")
    except UnreadableSheetError as refused:
        answer = {"refused": {"code": refused.code, "sentence": refused.sentence}}
        sys.stdout.write(json.dumps(answer) + "\n")
    except MemoryError:
        sys.stdout.write('{"refused": {"code": "too-much-memory", "sentence": ')
        sys.stdout.write('"The workbook needs more memory than is allowed. Save the')
        sys.stdout.write(' sheet with the counts alone as CSV and send that."}}\n')
    return 0


def _lines(path: Path, wanted: str) -> Iterator[Any]:
    package = _open_package(path)
    import python_calamine  # noqa: PLC0415 - only after the limits hold

    try:
        book = python_calamine.CalamineWorkbook.from_path(str(path))
    except Exception as error:
        raise _refusal(
            "not-a-workbook",
            "This looks like a workbook but cannot be opened: it is damaged, locked"
            " with a password, or of another kind. Save it as CSV or plain XLSX.",
        ) from error
    names = [
        sheet.name
        for sheet in book.sheets_metadata
        if sheet.typ == python_calamine.SheetTypeEnum.WorkSheet
        and sheet.visible == python_calamine.SheetVisibleEnum.Visible
    ]
    hidden = len(book.sheet_names) - len(names)
    names = [name for name in names if name != limits.GUIDE] or names
    if not names:
        raise _refusal("no-worksheet", "The workbook has no visible worksheet.")
    name = wanted if wanted in names else names[0]
    meta = {"worksheets": names, "worksheet": name, "hidden_worksheets": hidden}
    yield meta | _look_at_xml(package, book.sheet_names.index(name))
    sheet = book.get_sheet_by_name(name)
    first = sheet.start[0] + 1 if sheet.start else 1
    for offset, row in enumerate(sheet.iter_rows()):
        if first + offset > limits.ROWS + limits.HEADER_WITHIN_ROWS:
            raise _refusal(
                "too-many-rows",
                f"The worksheet has more than {limits.ROWS:,} rows. Split it by date.",
            )
        fields = [_as_text(value) for value in row]
        if any(fields):
            yield [first + offset, fields]


def _refusal(code: str, sentence: str) -> UnreadableSheetError:
    return UnreadableSheetError(code, sentence)


def _open_package(path: Path) -> zipfile.ZipFile:
    """Look at the zip file's directory before anything is unpacked."""
    try:
        package = zipfile.ZipFile(path)
    except zipfile.BadZipFile as error:
        raise _refusal(
            "broken-workbook",
            "The workbook is cut off or damaged: it may not have been sent whole."
            " Send it again.",
        ) from error
    entries = package.infolist()
    unpacked = sum(entry.file_size for entry in entries)
    packed = max(sum(entry.compress_size for entry in entries), 1)
    if len(entries) > limits.ZIP_ENTRIES:
        raise _refusal(
            "too-many-parts",
            f"The workbook has {len(entries)} parts; at most {limits.ZIP_ENTRIES} are"
            " opened. Save the sheet with the counts alone.",
        )
    huge = unpacked > limits.UNPACKED_BYTES
    if huge or (unpacked > CHUNK * 10 and unpacked > packed * limits.UNPACKED_RATIO):
        raise _refusal(
            "unpacks-too-large",
            f"The workbook unpacks to {unpacked / 1e6:.0f} MB; that is refused. Save"
            " the sheet with the counts alone as CSV.",
        )
    _refuse_odd_parts(package)
    return package


def _refuse_odd_parts(package: zipfile.ZipFile) -> None:
    names = package.namelist()
    if "xl/workbook.xml" not in names:
        raise _refusal(
            "other-zip",
            "This is a zip file but not an XLSX workbook. Unpack it and send the sheet"
            " itself, as CSV or XLSX.",
        )
    if any(name.lower().endswith("vbaproject.bin") for name in names):
        raise _refusal(
            "macros", "The workbook holds macros. Save it as plain XLSX or CSV."
        )
    for name in names:
        if name.endswith((".xml", ".rels")):
            with package.open(name) as part:
                if b"<!DOCTYPE" in part.read(CHUNK) or b"<!ENTITY" in part.read(CHUNK):
                    raise _refusal(
                        "document-type",
                        f"The part {name} declares XML entities, which no spreadsheet"
                        " program writes. Save the sheet as CSV and send that.",
                    )


def _look_at_xml(package: zipfile.ZipFile, index: int) -> dict[str, Any]:
    """Find what values alone do not show: formulas, merged cells, hidden rows."""
    with package.open("xl/workbook.xml") as part:
        epoch_1904 = bool(DATE_1904.search(part.read(CHUNK)))
    parts = sorted(
        (
            name
            for name in package.namelist()
            if re.match(r"xl/worksheets/[^/]+$", name)
        ),
        key=lambda name: [int(digits) for digits in re.findall(r"\d+", name)] or [0],
    )
    found: dict[str, Any] = {
        "epoch_1904": epoch_1904,
        "formulas": 0,
        "formulas_without_value": [],
        "merged": [],
        "hidden_rows": [],
        "hidden_columns": 0,
        "filtered": False,
        "comments": any("comments" in name for name in package.namelist()),
        "pictures": any("/media/" in name for name in package.namelist()),
    }
    if index >= len(parts):
        return found
    with package.open(parts[index]) as part:
        tail = b""
        while block := part.read(CHUNK):
            text = tail + block
            cut = text.rfind(b"</row>") + len(b"</row>")
            whole, tail = (text[:cut], text[cut:]) if cut > 5 else (b"", text)
            _note_xml(whole, found)
        _note_xml(tail, found)
    return found


def _note_xml(text: bytes, found: dict[str, Any]) -> None:
    for match in CELL_WITH_FORMULA.finditer(text):
        found["formulas"] += 1
        if match[2] is None:
            found["formulas_without_value"].append(match[1].decode())
    found["merged"] += [match.decode() for match in MERGED.findall(text)]
    found["hidden_rows"] += [int(match) for match in HIDDEN_ROW.findall(text)]
    found["hidden_columns"] += len(HIDDEN_COLUMN.findall(text))
    found["filtered"] = found["filtered"] or bool(FILTER.search(text))


def _as_text(value: object) -> str:
    """Write a cell's value as a person would type it into a CSV file."""
    if value is None:
        return ""
    write = WRITERS.get(type(value), str)
    return write(value).replace("\x00", "")


def _number(value: float) -> str:
    whole = value.is_integer() and abs(value) < WHOLE_BELOW
    return str(int(value)) if whole else repr(value)


def _moment(value: datetime) -> str:
    return value.date().isoformat() if value.time() == MIDNIGHT else value.isoformat()


# Beyond this a double no longer holds every whole number.
WHOLE_BELOW = 2.0**53
WRITERS: dict[type, Callable[[Any], str]] = {
    bool: lambda value: "TRUE" if value else "FALSE",
    float: _number,
    datetime: _moment,
    date: date.isoformat,
    time: time.isoformat,
    timedelta: lambda value: f"{value.total_seconds():g} s",
}


if __name__ == "__main__":
    sys.exit(main())
