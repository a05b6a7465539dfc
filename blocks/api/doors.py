"""Open a farm group's API to its members only."""

from typing import Any, ClassVar

from django.db import transaction
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from rest_framework.request import Request
from rest_framework.views import APIView

from blocks.access import EVERYONE, Member, Role, member_for, require, signed_in

CLIENT_ERROR = 400


class GroupAPIView(APIView):
    """An API view of one farm group, named by its slug in the URL.

    Runs in one transaction in which the group is stated; `self.member` is the person
    inside the group. A stranger gets 404, another role 403. An answer of 400 or more
    undoes what was written.
    """

    allowed_roles: ClassVar[frozenset[Role]] = EVERYONE
    member: Member

    def dispatch(
        self, request: HttpRequest, *args: Any, **kwargs: Any
    ) -> HttpResponseBase:
        """Run the view inside the group's transaction."""
        with transaction.atomic():
            response = super().dispatch(request, *args, **kwargs)
            if response.status_code >= CLIENT_ERROR:
                transaction.set_rollback(True)
            response.headers["Cache-Control"] = "private, no-store"
            return response

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Find out who asks before anything is looked up."""
        super().initial(request, *args, **kwargs)
        self.member = member_for(signed_in(request.user), kwargs["group_slug"])
        require(self.member, self.allowed_roles)
