"""Photographs of bags: sent by benches, shown on the bag's page, removed."""

from http import HTTPStatus
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_POST

from blocks.access import Member, Role
from blocks.errors import SiteError
from blocks.files import path_of
from blocks.views.doors import for_member
from monitoring.bench_forms import ReasonForm
from monitoring.models import BagPhoto
from monitoring.photographs.limits import SENT_BYTES
from monitoring.photographs.reader import refuse_too_large
from monitoring.queries.bench_photos import photo_for
from monitoring.services import bench_photos as services

# Nothing that a browser might find in the file runs, or asks for anything.
ALONE = "default-src 'none'; base-uri 'none'; frame-ancestors 'none'; sandbox"


@require_http_methods(["GET", "HEAD", "PUT"])
@for_member()
def photo(request: HttpRequest, member: Member, *, photo_uuid: UUID) -> HttpResponse:
    """Give a photograph, or keep the one that a bench sends."""
    if request.method == "PUT":
        return _put(request, member, photo_uuid)
    found = photo_for(member, photo_uuid)
    path = path_of("photos", member.group_id, found.stored_name)
    if found.removed_at is not None or not path.exists():
        raise Http404("The photograph was removed.")
    response = HttpResponse(path.read_bytes(), content_type="image/jpeg")
    response.headers["Content-Disposition"] = (
        content_disposition_header(
            as_attachment="download" in request.GET, filename=_name(found)
        )
        or "attachment"
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Security-Policy"] = ALONE
    return response


def _name(photo: BagPhoto) -> str:
    taken = f"{photo.taken_at:%Y-%m-%d}-" if photo.taken_at else ""
    return f"bag-{photo.bag.code}-{taken}{str(photo.uuid)[:8]}.jpg"


def _put(request: HttpRequest, member: Member, photo_uuid: UUID) -> HttpResponse:
    """Take a photograph in; refusals are for the bench's script to show."""
    try:
        refuse_too_large(_length(request))
        sent = request.read(SENT_BYTES + 1)
        refuse_too_large(len(sent))
        kept, new = services.receive(member, photo_uuid, sent)
    except SiteError as error:
        return _problem(request, error)
    told = {
        "id": str(kept.uuid),
        "bag": str(kept.bag.uuid),
        "width_px": kept.width_px,
        "height_px": kept.height_px,
        "removed": kept.removed_at is not None,
    }
    return JsonResponse(told, status=HTTPStatus.CREATED if new else HTTPStatus.OK)


def _length(request: HttpRequest) -> int:
    stated = request.headers.get("Content-Length", "")
    return int(stated) if stated.isdecimal() else 0


def _problem(request: HttpRequest, error: SiteError) -> HttpResponse:
    return JsonResponse(
        {
            "type": f"urn:washboard:problem:{error.code}",
            "title": HTTPStatus(error.status).phrase,
            "status": error.status,
            "detail": error.sentence,
            "instance": request.path,
        },
        status=error.status,
        content_type="application/problem+json",
    )


@require_POST
@for_member(Role.COORDINATOR)
def remove(request: HttpRequest, member: Member, *, photo_uuid: UUID) -> HttpResponse:
    """Take a photograph away for good, with a reason."""
    found, form = photo_for(member, photo_uuid), ReasonForm(request.POST)
    try:
        if form.is_valid():
            services.remove(member, found, why=form.cleaned_data["why"])
            messages.success(request, "The photograph is removed.")
        else:
            messages.error(request, form.refusal)
    except SiteError as error:
        messages.error(request, error.sentence)
    return redirect("bag", member.farm_group.slug, found.bag.uuid)
