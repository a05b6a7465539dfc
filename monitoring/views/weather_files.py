"""Downloads of weather: a file as it came, and every day with its degree-days."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from blocks.access import COUNTERS, RULERS, Member, farm_for
from blocks.files import path_of
from blocks.views.doors import for_member
from monitoring.pages.weather_page import days_csv, farm_heat, shown_days
from monitoring.queries.weather import upload_for
from monitoring.views.weather import day_asked


def _download(content: bytes, *, name: str, kind: str) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response.headers["Content-Disposition"] = content_disposition_header(
        as_attachment=True, filename=name
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    return response


@require_safe
@for_member(*(COUNTERS | RULERS))
def weather_original(
    request: HttpRequest, member: Member, *, upload_uuid: UUID
) -> HttpResponse:
    """Give a weather file as it came."""
    upload = upload_for(member, upload_uuid)
    path = path_of("weather", member.group_id, upload.stored_name)
    if not path.exists():
        raise Http404("The stored file is gone.")
    return _download(
        path.read_bytes(), name=upload.file_name, kind="application/octet-stream"
    )


@require_safe
@for_member()
def weather_csv(
    request: HttpRequest, member: Member, *, farm_uuid: UUID
) -> HttpResponse:
    """Give a farm's days of one season with their degree-days."""
    farm = farm_for(member, farm_uuid)
    heat = farm_heat(farm, on=day_asked(request, member))
    return _download(
        days_csv(heat, shown_days(heat)).encode(),
        name=f"weather-{slugify(farm.name) or 'farm'}-{heat.rule.starts_on}.csv",
        kind="text/csv; charset=utf-8",
    )
