"""Refuse to serve with a database role that row-level security does not hold."""

from django.core.exceptions import ImproperlyConfigured
from django.db import connection


def refuse_strong_role() -> None:
    """Stop if the site's role is a superuser, may pass row security, or owns tables.

    Such a role would see every farm group's rows whenever the code forgets to ask
    for one group's only.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT current_user, rolsuper OR rolbypassrls, EXISTS (SELECT 1"
            " FROM pg_class WHERE relowner = pg_roles.oid AND relkind IN ('r', 'p'))"
            " FROM pg_roles WHERE rolname = current_user"
        )
        role, strong, owns = cursor.fetchone()
    if strong or owns:
        raise ImproperlyConfigured(
            f"The database role {role} is a superuser, may pass row-level security or"
            " owns tables. Give WASHBOARD_DATABASE_URL a role that only reads and"
            " writes rows (deploy/runbook.md)."
        )
