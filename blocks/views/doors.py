"""Open a farm group's pages to its members only."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate

from django.contrib.auth.views import redirect_to_login
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.views.decorators.cache import cache_control

from blocks.access import EVERYONE, Member, Role, member_for, require, signed_in

SERVER_ERROR = 500

type_view = Callable[Concatenate[HttpRequest, Member, ...], HttpResponseBase]


def for_member(
    *roles: Role,
) -> Callable[[type_view], Callable[..., HttpResponseBase]]:
    """Make a view of `(request, member, ...)` from the group's slug in the URL.

    The view runs in one transaction in which the group is stated, so the database
    itself shows no other group's row. A stranger to the group gets 404, a member of
    another role 403, someone not signed in the sign-in page. Without roles named,
    every member may enter.
    """
    allowed = frozenset(roles) or EVERYONE

    def decorate(view: type_view) -> Callable[..., HttpResponseBase]:
        @wraps(view)
        @cache_control(private=True, no_store=True)
        def door(
            request: HttpRequest, *, group_slug: str, **kwargs: Any
        ) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            with transaction.atomic():
                member = member_for(signed_in(request.user), group_slug)
                require(member, allowed)
                request.member = member  # type: ignore[attr-defined]  # for templates
                response = view(request, member, **kwargs)
                if isinstance(response, HttpResponse) and hasattr(response, "render"):
                    response = response.render()
                if response.status_code >= SERVER_ERROR:
                    transaction.set_rollback(True)
                return response

        door.allowed_roles = allowed  # type: ignore[attr-defined]  # read by tests
        return door

    return decorate
