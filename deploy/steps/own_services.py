"""Look at a PostgreSQL and Redis that somebody else runs, and change nothing there."""

import psycopg
from redis import Redis, RedisError

from deploy.steps.given import OWNER_URL, REDIS_URL, SITE_URL
from deploy.steps.say import StepError, say

# A database that Washboard has migrated holds this table.
OUR_TABLE = "blocks_farmgroup"
# PostGIS puts these into the schema.
POSTGIS_TABLES = ("spatial_ref_sys", "geometry_columns", "geography_columns")
SHOWN_TABLES = 5


def look_at_database(site_url: str, owner_url: str) -> None:
    """Stop if the database is not fit, or holds what is not Washboard's."""
    with _connect(OWNER_URL, owner_url) as owner, _connect(SITE_URL, site_url) as site:
        name = owner.info.dbname
        if site.info.dbname != name:
            raise StepError(
                f"{OWNER_URL} names the database {name}, {SITE_URL} the database"
                f" {site.info.dbname}. Both must name the same one."
            )
        if site.info.user == owner.info.user:
            raise StepError(
                f"{SITE_URL} and {OWNER_URL} name the same role {site.info.user}. The"
                " site needs a role of its own that owns nothing."
            )
        refuse_foreign(owner)
        require_postgis(owner)


def refuse_foreign(owner: psycopg.Connection) -> None:
    """Stop if the database has tables, and none of them is Washboard's."""
    rows = owner.execute(
        "SELECT format('%%s.%%s', schemaname, tablename) FROM pg_tables"
        " WHERE schemaname <> 'information_schema' AND schemaname NOT LIKE 'pg\\_%%'"
        " AND schemaname NOT IN ('topology', 'tiger', 'tiger_data')"
        " AND tablename <> ALL (%s) ORDER BY 1",
        [list(POSTGIS_TABLES)],
    ).fetchall()
    tables = [name for (name,) in rows]
    if tables and f"public.{OUR_TABLE}" not in tables:
        shown = ", ".join(tables[:SHOWN_TABLES])
        more = (
            f" and {len(tables) - SHOWN_TABLES} more" if tables[SHOWN_TABLES:] else ""
        )
        raise StepError(
            f"The database {owner.info.dbname} holds tables that are not Washboard's:"
            f" {shown}{more}. Nothing was changed. Give an empty database."
        )


def require_postgis(owner: psycopg.Connection) -> None:
    """Stop if a superuser has yet to put PostGIS into the database."""
    there = owner.execute(
        "SELECT 1 FROM pg_extension WHERE extname = 'postgis'"
    ).fetchone()
    if not there:
        raise StepError(
            f"The database {owner.info.dbname} has no PostGIS. As its superuser, once:"
            f" CREATE EXTENSION postgis"
        )


def _connect(variable: str, url: str) -> psycopg.Connection:
    try:
        return psycopg.connect(url, connect_timeout=10, autocommit=True)
    except psycopg.Error as error:
        # libpq's words name host, role and database, never the password.
        words = " ".join(str(error).split())
        raise StepError(f"{variable} does not lead to a database: {words}") from error


def look_at_redis(url: str) -> None:
    """Stop if Redis does not answer; warn if it may throw tasks away."""
    try:
        address = url.replace("redis+socket://", "unix://")
        with Redis.from_url(
            address.replace("virtual_host=", "db="), socket_timeout=5
        ) as link:
            link.ping()
            policy = link.info("memory").get("maxmemory_policy")
    except (RedisError, ValueError) as error:
        raise StepError(f"{REDIS_URL} does not lead to a Redis: {error}") from error
    if policy not in (None, "noeviction"):
        say(
            f"Note: this Redis has maxmemory-policy {policy}, and may throw waiting"
            " tasks away when memory runs short. Set it to noeviction."
        )
