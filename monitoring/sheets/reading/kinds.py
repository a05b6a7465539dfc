"""Tell from a file's first bytes what it is, whatever its name says."""

from pathlib import Path
from typing import Literal

from monitoring.sheets.findings import UnreadableSheetError
from monitoring.sheets.reading.limits import FILE_BYTES

Kind = Literal["text", "workbook"]
HEAD_BYTES = 4096
OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
ZIP = b"PK\x03\x04"
SAVE_AS = "Save it as CSV or as a plain XLSX workbook and send it again."


def kind_of(path: Path) -> Kind:
    """Give how the file is to be read, or refuse it in words."""
    size = path.stat().st_size
    if size == 0:
        raise UnreadableSheetError(
            "empty-file", "The file is empty: 0 bytes. Send the file with its rows."
        )
    if size > FILE_BYTES:
        raise UnreadableSheetError(
            "file-too-large",
            f"The file has {size / 1e6:.0f} MB; at most {FILE_BYTES / 1e6:.0f} MB are"
            " taken. Split it by date and send the parts.",
        )
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    return _kind_of_head(head)


def _kind_of_head(head: bytes) -> Kind:
    if head.startswith(ZIP):
        return "workbook"
    if head.startswith(OLE):
        raise UnreadableSheetError(
            "old-or-locked-workbook",
            "This is an old XLS workbook, or a workbook locked with a password."
            f" {SAVE_AS}",
        )
    if head.startswith(b"%PDF"):
        raise UnreadableSheetError("pdf", f"This is a PDF, not a table. {SAVE_AS}")
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if start.startswith((b"<!doctype", b"<html", b"<?xml", b"<table")):
        raise UnreadableSheetError(
            "web-page", f"This is a web page or XML, not a table. {SAVE_AS}"
        )
    return "text"
