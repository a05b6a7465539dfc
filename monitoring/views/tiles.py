"""Vector tiles of blocks for the map."""

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import get_conditional_response, set_response_etag
from django.utils.dateparse import parse_date
from django.views.decorators.http import require_safe

from blocks.access import Member, visible_blocks
from blocks.views.doors import for_member
from monitoring.queries import maps

TILE_TYPE = "application/vnd.mapbox-vector-tile"
OK = 200


def asked_again_each_time(
    view: Callable[..., HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Let the browser keep an answer, and ask each time whether it still holds."""

    @wraps(view)
    def kept(request: HttpRequest, **kwargs: Any) -> HttpResponseBase:
        response = view(request, **kwargs)
        if not isinstance(response, HttpResponse) or response.status_code != OK:
            return response
        set_response_etag(response)
        response.headers["Cache-Control"] = "private, no-cache"
        etag = response.headers.get("ETag")
        return (
            get_conditional_response(request, etag=etag, response=response) or response
        )

    return kept


@require_safe
@asked_again_each_time
@for_member()
def tile(
    request: HttpRequest, member: Member, *, on: str, z: int, x: int, y: int
) -> HttpResponse:
    """Give the blocks in one tile, as they were bounded on a day."""
    address = maps.TileAddress(z, x, y)
    day = _day_or_none(on)
    if day is None or not address.exists:
        return HttpResponse("No such tile.", status=404, content_type="text/plain")
    keys = visible_blocks(member).values_list("pk", flat=True)
    content = maps.blocks_tile(member.group_id, keys, address, on=day)
    return HttpResponse(content, content_type=TILE_TYPE)


def _day_or_none(text: str) -> date | None:
    try:
        return parse_date(text)
    except ValueError:
        return None
