"""The pages of count sheets."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django import forms
from django.conf import settings
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import COUNTERS, Member
from blocks.views.doors import for_member
from monitoring.models import Sheet
from monitoring.sheets import queries, services
from monitoring.sheets.exports import layout_columns
from monitoring.sheets.known import organism_names
from monitoring.sheets.progress import progress_of

ROWS_SHOWN = 40
FINDINGS_SHOWN = 200
SHEETS_A_PAGE = 30
FIELD = "field-"
ANSWER = "answer-"


class UploadForm(forms.Form):
    """The file of a sheet."""

    file = forms.FileField(
        label="Sheet",
        help_text="CSV or XLSX, up to 20 MB. Nothing counts before you publish it.",
        error_messages={
            "required": "Choose a file first.",
            "empty": "The file is empty. Choose the one with the rows.",
        },
        widget=forms.FileInput(attrs={"accept": ".csv,.tsv,.txt,.xlsx"}),
    )

    def clean_file(self) -> UploadedFile[bytes]:
        """Refuse a file that is too large before it is read."""
        file: UploadedFile[bytes] = self.cleaned_data["file"]
        if (file.size or 0) > settings.UPLOAD_LIMIT_BYTES:
            raise forms.ValidationError(
                "The file is larger than 20 MB. Split it by date and send the parts."
            )
        return file


@require_http_methods(["GET", "HEAD", "POST"])
@for_member(*COUNTERS)
def sheets(request: HttpRequest, member: Member) -> HttpResponse:
    """List the group's sheets, and take a new one."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        sheet, fresh = services.receive(
            member, file_name=file.name or "", chunks=file.chunks()
        )
        if not fresh:
            messages.info(
                request,
                "This very file was published before; nothing was changed by sending"
                " it again.",
            )
        return redirect("sheet", member.farm_group.slug, sheet.uuid)
    pages = Paginator(queries.sheets_of_group(member.group_id), SHEETS_A_PAGE)
    return render(
        request,
        "monitoring/sheets.html",
        {"form": form, "page": pages.get_page(request.GET.get("page"))},
        status=422 if form.errors else 200,
    )


# What a sheet may bring, as its summary counts it.
BRINGS = ("new", "changed", "detail", "new_bags", "new_scores", "changed_scores",
    "new_blanks")  # fmt: skip


def _shown(request: HttpRequest, member: Member, sheet: Sheet) -> dict[str, Any]:
    under_way = sheet.state in queries.UNDER_WAY
    questions = [
        {
            **question,
            "answer": sheet.answers.get(question["key"], ""),
            "name": ANSWER + question["key"],
        }
        for question in sheet.summary.get("questions", [])
    ]
    findings = queries.findings_of(sheet)
    published = sheet.state == Sheet.State.PUBLISHED
    return {
        "sheet": sheet,
        "under_way": under_way,
        "progress": progress_of(sheet.pk) if under_way else None,
        "questions": questions,
        "open_questions": len(sheet.summary.get("open_questions", [])),
        "findings": [] if under_way else findings[:FINDINGS_SHOWN],
        "findings_total": 0 if under_way else findings.count(),
        "findings_shown": FINDINGS_SHOWN,
        "rows": queries.faulty_rows(sheet, at_most=ROWS_SHOWN)
        if sheet.state == Sheet.State.CHECKED
        else [],
        "blocks": queries.blocks_of_sheet(sheet) if published else [],
        "changes_nothing": not any(sheet.summary.get(name) for name in BRINGS),
        "asks_reason": bool(
            sheet.summary.get("changed") or sheet.summary.get("changed_scores")
        ),
        "reason": sheet.answers.get("reason", ""),
    }


@require_safe
@for_member(*COUNTERS)
def sheet(request: HttpRequest, member: Member, *, sheet_uuid: UUID) -> HttpResponse:
    """Show how far a sheet has got, and what was found in it."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    template = "monitoring/sheet.html"
    if request.headers.get("HX-Request"):
        template = "monitoring/partials/sheet_state.html"
    return render(request, template, _shown(request, member, found))


@require_POST
@for_member(*COUNTERS)
def answer_questions(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID
) -> HttpResponse:
    """Take the answers that were given."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    answers = {
        name.removeprefix(ANSWER): str(value)
        for name, value in request.POST.items()
        if name.startswith(ANSWER) and value
    }
    if request.POST.get("reason"):
        answers["reason"] = request.POST["reason"]
    services.answer(member, found, answers=answers)
    return redirect("sheet", member.farm_group.slug, found.uuid)


def _fields_of(request: HttpRequest) -> list[str]:
    """Give a row's fields in their order, from inputs named `field-0`, `field-1`."""
    count = sum(name.startswith(FIELD) for name in request.POST)
    return [request.POST.get(f"{FIELD}{index}", "") for index in range(count)]


@require_POST
@for_member(*COUNTERS)
def correct_row(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID, number: int
) -> HttpResponse:
    """Take a row as corrected, leave it out, or take it in again."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    act = request.POST.get("act", "correct")
    if act == "correct":
        services.correct_row(found, number=number, fields=_fields_of(request))
    else:
        services.leave_out_rows(found, numbers=[number], leave_out=act == "leave-out")
    return redirect("sheet", member.farm_group.slug, found.uuid)


@require_POST
@for_member(*COUNTERS)
def leave_out_faulty(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID
) -> HttpResponse:
    """Leave out every row that has an error."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    services.leave_out_rows(
        found, numbers=queries.faulty_numbers(found), leave_out=True
    )
    return redirect("sheet", member.farm_group.slug, found.uuid)


@require_POST
@for_member(*COUNTERS)
def publish_sheet(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID
) -> HttpResponse:
    """Let the sheet count."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    services.publish(member, found)
    return redirect("sheet", member.farm_group.slug, found.uuid)


@require_POST
@for_member(*COUNTERS)
def discard_sheet(
    request: HttpRequest, member: Member, *, sheet_uuid: UUID
) -> HttpResponse:
    """Put the sheet aside."""
    found = queries.sheet_for(member.group_id, sheet_uuid)
    services.discard(found)
    messages.success(request, f"{found.file_name} was put aside; nothing of it counts.")
    return redirect("sheets", member.farm_group.slug)


@require_safe
@for_member(*COUNTERS)
def layouts(request: HttpRequest, member: Member) -> HttpResponse:
    """Explain the layouts, and offer templates."""
    organisms = list(organism_names(member.group_id))
    return render(
        request,
        "monitoring/sheet_layouts.html",
        {
            "bag_columns": layout_columns("bags", organisms),
            "cell_columns": layout_columns("cells", organisms),
            "blank_columns": layout_columns("blanks", organisms),
        },
    )
