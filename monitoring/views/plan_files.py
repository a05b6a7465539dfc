"""Downloads of a planned round, and the calendar feed."""

from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_safe

from blocks.access import Member
from blocks.views.doors import for_member
from monitoring.planning.calendars import read_token
from monitoring.planning.files import file_name, geojson_of, gpx_of
from monitoring.queries import plans as queries
from monitoring.services.calendar_feeds import feed_for


def _download(content: bytes, *, name: str, kind: str) -> HttpResponse:
    response = HttpResponse(content, content_type=kind)
    response.headers["Content-Disposition"] = content_disposition_header(
        as_attachment=True, filename=name
    )
    return response


@require_safe
@for_member()
def gpx(request: HttpRequest, member: Member, *, plan_uuid: UUID) -> HttpResponse:
    """Give a plan's points as GPX, for hand-held devices."""
    found = queries.plan_for(member, plan_uuid)
    content = gpx_of(found, list(queries.points_of(found)))
    return _download(content, name=file_name(found, "gpx"), kind="application/gpx+xml")


@require_safe
@for_member()
def geojson(request: HttpRequest, member: Member, *, plan_uuid: UUID) -> HttpResponse:
    """Give a plan's points as GeoJSON, for maps."""
    found = queries.plan_for(member, plan_uuid)
    content = geojson_of(found, list(queries.points_of(found)))
    return _download(
        content, name=file_name(found, "geojson"), kind="application/geo+json"
    )


@require_safe
@cache_control(private=True, no_store=True)
def calendar_feed(request: HttpRequest, *, token: str) -> HttpResponse:
    """Give rounds due as iCalendar to whoever holds a member's address."""
    held = read_token(token)
    content = feed_for(*held, now=timezone.now()) if held else None
    if content is None:
        raise Http404("No such calendar.")
    return HttpResponse(content, content_type="text/calendar; charset=utf-8")
