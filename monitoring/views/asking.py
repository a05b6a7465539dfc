"""Open pages ask again; most times the answer is that they show everything."""

from django.http import HttpRequest

from monitoring.queries.under_way import Freshness


def is_seen(request: HttpRequest, freshness: Freshness) -> bool:
    """Tell whether a page that asks again shows what there is.

    Such a page is left alone (204), with what is opened, scrolled or zoomed in it.
    """
    asks_again = request.headers.get("HX-Request") == "true"
    return asks_again and request.GET.get("seen") == freshness.token
