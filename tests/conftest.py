"""A real database, walled as in production: tests speak as the site's role."""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psycopg
import pytest
from django.conf import settings
from django.db import OperationalError, connections
from django.test import TransactionTestCase
from hypothesis import settings as hypothesis_settings
from psycopg import sql
from psycopg.errors import DeadlockDetected, ObjectInUse

from deploy.provisioning import prepare

MOST_DEADLOCKS = 5
MOST_DROPS = 5
pytest_plugins = ["tests.builders", "tests.desks"]

# A busy machine is not a failure.
hypothesis_settings.register_profile("site", deadline=None)
hypothesis_settings.load_profile("site")


def _database_name(worker: str, *, kept: bool) -> str:
    """Name the database for this run alone, unless it is kept for the next one."""
    run = "kept" if kept else str(os.getpid())
    return f"test_{settings.DATABASES['owner']['NAME']}_{worker}_{run}"


@pytest.fixture(scope="session")
def django_db_setup(
    request: pytest.FixtureRequest, django_db_blocker: Any, worker_id: str
) -> Iterator[None]:
    """Make the test database as its owner, then use it as the site's role."""
    reuse = request.config.getvalue("reuse_db")
    name = _database_name(worker_id, kept=reuse)
    with django_db_blocker.unblock():
        _make_database(name, keep=reuse)
        for alias in ("owner", "default"):
            connections[alias].close()
            connections[alias].settings_dict["NAME"] = name
            settings.DATABASES[alias]["NAME"] = name
        assert prepare("owner", verbosity=0) == []
        yield
        connections["default"].close()
        # Only PostgreSQL connections have pools, which the stubs leave open.
        connections["default"].close_pool()  # type: ignore[attr-defined]
        connections["owner"].close()
        if not reuse:
            _drop_database(name)


def _maintenance_cursor(alias: str = "owner") -> Any:
    role = settings.DATABASES[alias]
    return psycopg.connect(
        dbname="postgres",
        user=role["USER"],
        password=role["PASSWORD"],
        host=role["HOST"],
        port=role["PORT"],
        autocommit=True,
    )


def _make_database(name: str, *, keep: bool) -> None:
    with _maintenance_cursor() as link:
        there = link.execute(
            "SELECT 1 FROM pg_database WHERE datname = %s", [name]
        ).fetchone()
        if there and not keep:
            link.execute(
                sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name))
            )
            there = None
        if not there:
            link.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))


def _drop_database(name: str) -> None:
    # Threads of a live server or of a race may have left sessions open, and may open
    # one more while the rest are ended.
    for _ in range(MOST_DROPS):
        for alias in ("default", "owner"):
            _end_sessions(alias, name)
        try:
            with _maintenance_cursor() as link:
                link.execute(
                    sql.SQL("DROP DATABASE IF EXISTS {}").format(sql.Identifier(name))
                )
        except ObjectInUse:
            continue
        return
    raise AssertionError(f"{name} is still in use: {_sessions(name)}")


def _end_sessions(alias: str, name: str) -> None:
    """End a role's sessions of a database, which only that role may do, and wait."""
    with _maintenance_cursor(alias) as link:
        link.execute(
            # With a time it waits until they are gone.
            "SELECT pg_terminate_backend(pid, 10000) FROM pg_stat_activity"
            " WHERE datname = %s AND usename = current_user",
            [name],
        )


def _sessions(name: str) -> list[tuple[Any, ...]]:
    with _maintenance_cursor() as link:
        found: list[tuple[Any, ...]] = link.execute(
            "SELECT pid, usename, backend_type, state, query FROM pg_stat_activity"
            " WHERE datname = %s",
            [name],
        ).fetchall()
        return found


def _empty_tables() -> None:
    try:
        with connections["owner"].cursor() as cursor:
            cursor.execute(
                "SELECT quote_ident(relname) FROM pg_class WHERE relkind = 'r'"
                " AND relnamespace = 'public'::regnamespace AND relname NOT IN"
                " ('django_migrations', 'spatial_ref_sys', 'django_content_type',"
                " 'auth_permission')"
            )
            tables = ", ".join(row[0] for row in cursor.fetchall())
            cursor.execute(f"TRUNCATE {tables} RESTART IDENTITY")
    finally:
        connections["owner"].close()


@pytest.fixture(autouse=True, scope="session")
def _flush_as_owner() -> Iterator[None]:
    """Empty tables after transactional tests as owner: the site may not TRUNCATE."""

    def flush(self: TransactionTestCase) -> None:
        for _ in range(MOST_DEADLOCKS):
            try:
                _empty_tables()
            except OperationalError as error:
                # A closed page's last request still runs in the live server.
                if not isinstance(error.__cause__, DeadlockDetected):
                    raise
            else:
                return
        raise AssertionError("The tables could not be emptied for deadlocks.")

    # A live server looks for gathered static files as it starts.
    Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
    patch = pytest.MonkeyPatch()
    patch.setattr(TransactionTestCase, "_fixture_teardown", flush)
    yield
    patch.undo()


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, settings: Any) -> None:
    """Keep each test's files and mail in a folder of its own."""
    settings.FILES_DIR = tmp_path / "files"
    settings.MEDIA_ROOT = settings.FILES_DIR
    # Looked at when the first request comes; it need not hold anything.
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STATIC_ROOT.mkdir()
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {
            "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        },
    }
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.CELERY_TASK_ALWAYS_EAGER = False
