"""The site does not start with a role that passes row-level security."""

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connections

from deploy.project import boot

pytestmark = pytest.mark.django_db(databases=["default", "owner"])


def test_the_sites_own_role_may_start() -> None:
    boot.refuse_strong_role()


def test_the_owner_of_the_tables_may_not_serve(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(boot, "connection", connections["owner"])
    with pytest.raises(ImproperlyConfigured, match="owns tables"):
        boot.refuse_strong_role()
