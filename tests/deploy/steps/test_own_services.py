"""A database that Washboard did not make is looked at and left as it is."""

from collections.abc import Iterator

import psycopg
import pytest
from django.conf import settings
from psycopg import sql

from deploy.steps.own_services import (
    look_at_database,
    look_at_redis,
    refuse_foreign,
    require_postgis,
)
from deploy.steps.say import StepError

pytestmark = pytest.mark.django_db


def _as_owner(database: str) -> psycopg.Connection:
    owner = settings.DATABASES["owner"]
    return psycopg.connect(
        dbname=database,
        user=owner["USER"],
        password=owner["PASSWORD"],
        host=owner["HOST"],
        port=owner["PORT"],
        autocommit=True,
    )


@pytest.fixture
def fresh(
    request: pytest.FixtureRequest, worker_id: str
) -> Iterator[psycopg.Connection]:
    """A connection to a new database, made from the template that was asked for."""
    name = f"test_anothers_{worker_id}"
    with _as_owner("postgres") as link:
        drop = sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name))
        link.execute(drop)
        link.execute(
            sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(
                sql.Identifier(name), sql.Identifier(request.param)
            )
        )
        with _as_owner(name) as made:
            yield made
        made.close()
        link.execute(drop)


@pytest.mark.parametrize("fresh", ["template1"], indirect=True)
def test_anothers_tables_are_named_and_left_alone(fresh: psycopg.Connection) -> None:
    fresh.execute("CREATE TABLE cellar (barrel int)")
    fresh.execute("INSERT INTO cellar VALUES (7)")
    with pytest.raises(StepError, match=r"not Washboard's: public\.cellar\."):
        refuse_foreign(fresh)
    assert fresh.execute("SELECT barrel FROM cellar").fetchall() == [(7,)]


@pytest.mark.parametrize("fresh", ["template1"], indirect=True)
def test_anothers_tables_in_another_schema_count_too(fresh: psycopg.Connection) -> None:
    fresh.execute("CREATE SCHEMA winery")
    fresh.execute("CREATE TABLE winery.cellar (barrel int)")
    with pytest.raises(StepError, match=r"winery\.cellar"):
        refuse_foreign(fresh)


@pytest.mark.parametrize("fresh", ["template1"], indirect=True)
def test_an_empty_database_with_postgis_will_do(fresh: psycopg.Connection) -> None:
    refuse_foreign(fresh)
    require_postgis(fresh)


@pytest.mark.parametrize("fresh", ["template0"], indirect=True)
def test_a_database_without_postgis_is_refused(fresh: psycopg.Connection) -> None:
    with pytest.raises(StepError, match="CREATE EXTENSION postgis"):
        require_postgis(fresh)


def test_washboards_own_database_will_do() -> None:
    with _as_owner(settings.DATABASES["owner"]["NAME"]) as link:
        refuse_foreign(link)
    link.close()


def test_one_role_for_both_is_refused() -> None:
    owner = settings.DATABASES["owner"]
    url = psycopg.conninfo.make_conninfo(
        dbname=owner["NAME"],
        user=owner["USER"],
        password=owner["PASSWORD"],
        host=owner["HOST"],
        port=owner["PORT"],
    )
    with pytest.raises(StepError, match="the same role"):
        look_at_database(url, url)


def test_an_address_that_leads_nowhere_is_named_without_its_password() -> None:
    url = "postgresql://site:s3cret@/vines?host=/nowhere&port=5432"
    with pytest.raises(
        StepError, match="WASHBOARD_OWNER_DATABASE_URL does not lead to a database"
    ) as caught:
        look_at_database(url, url)
    assert "s3cret" not in str(caught.value)


def test_a_redis_that_is_not_there_is_named() -> None:
    with pytest.raises(StepError, match="WASHBOARD_REDIS_URL does not lead to"):
        look_at_redis("redis+socket:///nowhere/redis.sock")
