"""What every page's template may use."""

from typing import Any

from django.http import HttpRequest


def member(request: HttpRequest) -> dict[str, Any]:
    """Give the member on a farm group's page, None elsewhere."""
    return {"member": getattr(request, "member", None)}
