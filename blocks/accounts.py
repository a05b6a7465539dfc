"""How people come to have an account."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class ClosedAccountAdapter(DefaultAccountAdapter):  # type: ignore[misc]  # allauth has no types
    """Let nobody sign themselves up: a coordinator adds people."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:  # noqa: ARG002 - allauth's signature
        """Refuse."""
        return False
