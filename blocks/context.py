"""What every page's template may use."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest


def member(request: HttpRequest) -> dict[str, Any]:
    """Give the member on a farm group's page, None elsewhere; and the site's kind.

    A site with a certificate of its own says on each page how to trust it.
    """
    return {
        "member": getattr(request, "member", None),
        "own_certificate": bool(settings.AUTHORITY_FILE),
    }
