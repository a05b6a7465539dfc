"""Tell programs apart: nobody signed in (401), an old page's token (403), a role."""

from drf_spectacular.authentication import SessionScheme
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request


class StaleTokenError(PermissionDenied):
    """The request had no token of a page of this session."""

    problem_kind = "stale-token"
    default_detail = (
        "The request did not carry this session's token (X-CSRFToken). Fetch it anew,"
        " then send again; nothing was changed."
    )


class SiteSession(SessionAuthentication):
    """Sign in by the site's session, with 401 for those who are not signed in.

    A program that keeps things until they are sent must know "sign in, then send"
    from "you may not".
    """

    def authenticate_header(self, request: Request) -> str:
        """Name the way to sign in, which makes the answer 401."""
        return 'Session realm="Washboard"'

    def enforce_csrf(self, request: Request) -> None:
        """Refuse a request without the session's token, in words."""
        try:
            super().enforce_csrf(request)
        except PermissionDenied as refused:
            raise StaleTokenError from refused


class SiteSessionScheme(SessionScheme):  # type: ignore[no-untyped-call]
    """Describe it in the schema as the session's cookie."""

    target_class = "blocks.api.signing_in.SiteSession"
    priority = 0
