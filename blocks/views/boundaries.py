"""The coordinator's pages of boundaries and of a block's facts."""

import re
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import Member, Role, block_for
from blocks.boundaries.drawing import drawing_of
from blocks.forms import BlockForm, BoundaryForm
from blocks.models import Block
from blocks.queries import boundary_imports, import_for
from blocks.services import boundaries as services
from blocks.services.boundary_comparison import left_out
from blocks.views.doors import for_member

ANSWER = "answer-"
INDEX = re.compile(r"[0-9]{1,6}")
GET_OR_POST = ["GET", "HEAD", "POST"]


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def import_blocks(request: HttpRequest, member: Member) -> HttpResponse:
    """Take a boundary file."""
    form = BoundaryForm(request.POST or None, request.FILES or None, member=member)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        begun = services.receive(
            member,
            file_name=file.name or "",
            chunks=file.chunks(),
            farm=form.cleaned_data["farm"],
            valid_from=form.cleaned_data["valid_from"],
        )
        return redirect("boundary-import", member.farm_group.slug, begun.uuid)
    return render(
        request,
        "blocks/import.html",
        {"form": form, "imports": boundary_imports(member.farm_group)[:20]},
        status=422 if form.errors else 200,
    )


@require_safe
@for_member(Role.COORDINATOR)
def boundary_import(
    request: HttpRequest, member: Member, *, import_uuid: UUID
) -> HttpResponse:
    """Show what was read from a boundary file, before and after repair."""
    begun = import_for(member.farm_group, import_uuid)
    shown: list[dict[str, Any]] = [
        {
            **feature,
            "drawing": drawing_of(feature["geometry"], feature["before"]),
            "left_out": left_out(begun, feature),
        }
        for feature in begun.preview.get("features", [])[:200]
    ]
    questions = [
        {**question, "name": ANSWER + question["key"]}
        for question in begun.preview.get("questions", [])
    ]
    return render(
        request,
        "blocks/boundary_import.html",
        {"begun": begun, "features": shown, "questions": questions},
    )


@require_POST
@for_member(Role.COORDINATOR)
def answer_import(
    request: HttpRequest, member: Member, *, import_uuid: UUID
) -> HttpResponse:
    """Take answers, or which shapes are left out."""
    begun = import_for(member.farm_group, import_uuid)
    answers = {
        name.removeprefix(ANSWER): str(value).strip()
        for name, value in request.POST.items()
        if name.startswith(ANSWER) and value
    }
    if answers:
        services.answer(begun, answers)
    if "left-out-given" in request.POST:
        chosen = [v for v in request.POST.getlist("left-out") if INDEX.fullmatch(v)]
        services.leave_out(begun, [int(value) for value in chosen])
    return redirect("boundary-import", member.farm_group.slug, begun.uuid)


@require_POST
@for_member(Role.COORDINATOR)
def publish_import(
    request: HttpRequest, member: Member, *, import_uuid: UUID
) -> HttpResponse:
    """Write the blocks."""
    begun = import_for(member.farm_group, import_uuid)
    blocks: list[Block] = services.publish(begun)
    messages.success(request, f"{len(blocks)} blocks have their boundaries.")
    return redirect("group", member.farm_group.slug)


@require_POST
@for_member(Role.COORDINATOR)
def discard_import(
    request: HttpRequest, member: Member, *, import_uuid: UUID
) -> HttpResponse:
    """Put an import aside."""
    services.discard(import_for(member.farm_group, import_uuid))
    return redirect("import-blocks", member.farm_group.slug)


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def edit_block(
    request: HttpRequest, member: Member, *, block_uuid: UUID
) -> HttpResponse:
    """Change a block's facts."""
    block = block_for(member, block_uuid)
    form = BlockForm(request.POST or None, block=block)
    if request.method == "POST" and form.is_valid():
        services.change_facts(block, form.cleaned_data)
        messages.success(request, "Saved.")
        return redirect("block", member.farm_group.slug, block.uuid)
    return render(
        request,
        "blocks/edit_block.html",
        {"form": form, "shown_block": block},
        status=422 if form.errors else 200,
    )
