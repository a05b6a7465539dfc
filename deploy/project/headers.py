"""Response headers that Django has no setting for."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

POLICY = "geolocation=(self), camera=(self), microphone=(), payment=(), usb=()"


class PermissionsPolicyMiddleware:
    """Refuse the browser's powers that no page needs."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Add the header to every answer."""
        response = self.get_response(request)
        response.headers.setdefault("Permissions-Policy", POLICY)
        return response
