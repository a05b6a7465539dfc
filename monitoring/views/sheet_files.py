"""Downloads of count sheets: templates, the file as it came, and annotated."""

from collections.abc import Iterable
from typing import Literal
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from blocks.access import COUNTERS, Member
from blocks.files import path_of
from blocks.views.doors import for_member
from monitoring.sheets import exports, queries
from monitoring.sheets.known import organism_names

TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "bin": "application/octet-stream",
}


def _download(content: Iterable[bytes], *, name: str, kind: str) -> HttpResponse:
    """Answer with a file that browsers keep and never show."""
    response = HttpResponse(b"".join(content), content_type=TYPES[kind])
    response.headers["Content-Disposition"] = content_disposition_header(
        as_attachment=True, filename=name
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


@require_safe
@for_member(*COUNTERS)
def template_file(
    request: HttpRequest,
    member: Member,
    *,
    layout: Literal["bags", "cells", "blanks"],
    kind: str,
) -> HttpResponse:
    """Give an empty sheet of a layout with the group's own organisms."""
    organisms = list(organism_names(member.group_id))
    writers = {"csv": exports.template_csv, "xlsx": exports.template_xlsx}
    if layout not in {"bags", "cells", "blanks"} or kind not in writers:
        raise Http404("No such template.")
    name = f"count-sheet-one-row-a-{layout.removesuffix('s')}.{kind}"
    return _download([writers[kind](layout, organisms)], name=name, kind=kind)


@require_safe
@for_member(*COUNTERS)
def original(request: HttpRequest, member: Member, *, sheet_uuid: UUID) -> HttpResponse:
    """Give the file as it came."""
    sheet = queries.sheet_for(member.group_id, sheet_uuid)
    path = path_of("sheets", member.group_id, sheet.stored_name)
    if not path.exists():
        raise Http404("The stored file is gone.")
    return _download([path.read_bytes()], name=sheet.file_name, kind="bin")


@require_safe
@for_member(*COUNTERS)
def annotated(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID
) -> HttpResponse:
    """Give the sheet as it stands, with what is wrong beside each row."""
    sheet = queries.sheet_for(member.group_id, sheet_uuid)
    name = f"{sheet.file_name.rsplit('.', 1)[0]}-annotated.csv"
    return _download(exports.annotated(sheet), name=name, kind="csv")


@require_safe
@for_member(*COUNTERS)
def findings(request: HttpRequest, member: Member, *, sheet_uuid: UUID) -> HttpResponse:
    """Give all findings."""
    sheet = queries.sheet_for(member.group_id, sheet_uuid)
    name = f"{sheet.file_name.rsplit('.', 1)[0]}-findings.csv"
    return _download(exports.findings_csv(sheet), name=name, kind="csv")
