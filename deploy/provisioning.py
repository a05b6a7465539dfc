"""Give the site's role its rights, migrate as owner, and look at the walls."""

from django.conf import settings
from django.core.management import call_command
from django.db import connections
from psycopg import sql

# Tables that no farm group owns, each for a reason.
SHARED_TABLES = frozenset(
    {
        "account_emailaddress",
        "account_emailconfirmation",
        "auth_group",
        "auth_group_permissions",
        "auth_permission",
        "blocks_user",
        "blocks_user_groups",
        "blocks_user_user_permissions",
        "deploy_heartbeat",
        "django_content_type",
        "django_migrations",
        "django_session",
        "spatial_ref_sys",
    }
)
# Functions that run with their owner's rights, on purpose.
TRUSTED_FUNCTIONS = frozenset({"washboard_farm_group_ids"})


def prepare(alias: str, *, verbosity: int = 1) -> list[str]:
    """Grant, migrate and check through the owner's connection; give what is wrong."""
    site_role = settings.DATABASES["default"]["USER"]
    grant_to_site(alias, site_role)
    call_command("migrate", database=alias, verbosity=verbosity, interactive=False)
    return faults_in_walls(alias, site_role)


def grant_to_site(alias: str, site_role: str) -> None:
    """Let the site's role read and write rows: never TRUNCATE, never own."""
    role = sql.Identifier(site_role)
    statements = [
        "GRANT USAGE ON SCHEMA public TO {}",
        "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {}",
        "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public"
        " GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA public"
        " GRANT USAGE, SELECT ON SEQUENCES TO {}",
    ]
    with connections[alias].cursor() as cursor:
        for statement in statements:
            cursor.execute(sql.SQL(statement).format(role).as_string())


def faults_in_walls(alias: str, site_role: str) -> list[str]:
    """List, in words, where the second wall between farm groups has a hole."""
    faults = []
    with connections[alias].cursor() as cursor:
        cursor.execute(
            "SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = %s",
            [site_role],
        )
        row = cursor.fetchone()
        if row is None or row[0]:
            faults.append(
                f"The site's role {site_role} is missing, a superuser or may pass"
                " row-level security."
            )
        cursor.execute(
            "SELECT c.relname, c.relrowsecurity AND c.relforcerowsecurity AND EXISTS"
            " (SELECT 1 FROM pg_policy p WHERE p.polrelid = c.oid)"
            " FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace"
            " AND c.relkind IN ('r', 'p', 'm')"
        )
        faults += [
            f"Table {name} is open to every farm group."
            for name, walled in cursor.fetchall()
            if not walled and name not in SHARED_TABLES
        ]
        cursor.execute(
            "SELECT proname FROM pg_proc WHERE prosecdef"
            " AND pronamespace = 'public'::regnamespace"
        )
        faults += [
            f"Function {name} runs with its owner's rights."
            for (name,) in cursor.fetchall()
            if name not in TRUSTED_FUNCTIONS and not name.startswith(("st_", "_st_"))
        ]
    return faults
