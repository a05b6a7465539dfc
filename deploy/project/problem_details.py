"""Turn the apps' own errors into sentences: a page, or problem details (RFC 9457)."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from rest_framework.exceptions import (
    APIException,
    AuthenticationFailed,
    NotAuthenticated,
)
from rest_framework.response import Response
from rest_framework.views import exception_handler, set_rollback

from blocks.errors import SiteError


class SentenceMiddleware:
    """Show a SiteError that a view let through as a page with its sentence."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on."""
        return self.get_response(request)

    def process_exception(
        self, request: HttpRequest, exception: Exception
    ) -> HttpResponse | None:
        """Answer with the error's own status; anything else is Django's to show."""
        if not isinstance(exception, SiteError):
            return None
        return render(
            request,
            "error_sentence.html",
            {"sentence": exception.sentence},
            status=exception.status,
        )


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """Answer an API error as application/problem+json; None for unknown errors."""
    if isinstance(error, SiteError):
        set_rollback()
        return _problem(error.status, error.sentence, context, kind=error.code)
    response = exception_handler(error, context)
    if response is None:
        return None
    kind = getattr(error, "problem_kind", "")
    if isinstance(error, NotAuthenticated | AuthenticationFailed):
        kind = "signed-out"
    problem = _problem(response.status_code, _detail(error), context, kind=kind)
    if isinstance(error, APIException) and isinstance(error.detail, dict):
        problem.data["errors"] = error.detail
    for name, value in response.headers.items():
        if name.lower() != "content-type":
            problem.headers[name] = value
    return problem


def _detail(error: Exception) -> str:
    if isinstance(error, Http404):
        return "There is nothing here that you may see."
    if isinstance(error, PermissionDenied):
        return "Your role in this farm group does not allow this."
    if isinstance(error, NotAuthenticated | AuthenticationFailed):
        return "Nobody is signed in. Sign in, then send it again; nothing was lost."
    if isinstance(error, APIException) and not isinstance(error.detail, dict | list):
        return str(error.detail)
    return "The request was not understood; see `errors`."


def _problem(
    status: int, detail: str, context: dict[str, Any], *, kind: str = ""
) -> Response:
    request = context.get("request")
    return Response(
        {
            "type": f"urn:washboard:problem:{kind}" if kind else "about:blank",
            "title": HTTPStatus(status).phrase,
            "status": status,
            "detail": detail,
            "instance": request.path if request is not None else "",
        },
        status=status,
        content_type="application/problem+json",
    )
