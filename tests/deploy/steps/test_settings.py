"""The site is told what it needs, and not the owner's password."""

from pathlib import Path

import psycopg
import pytest

from deploy.steps.postgres import Cluster
from deploy.steps.settings import keep_environment, site_environment
from deploy.steps.site import demo_logins
from deploy.steps.state import read_json

STATE = Path("/vines & wines/state")


def environment(**services: str) -> dict[str, str]:
    return site_environment(
        state=STATE,
        site_url="http://127.0.0.1:8001",
        services=services,
        secret_key="k" * 60,
    )


def test_the_owners_address_is_kept_from_the_site(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("WASHBOARD_OWNER_DATABASE_URL", "postgresql://owner@/vines")
    assert "WASHBOARD_OWNER_DATABASE_URL" not in environment()


@pytest.mark.parametrize("name", ["PYTHONSTARTUP", "GUNICORN_CMD_ARGS"])
def test_what_would_bend_the_servers_is_left_out(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv(name, "something")
    assert name not in environment()


def test_what_the_person_set_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("WASHBOARD_SITE_URL", "https://washboard.example.org")
    monkeypatch.delenv("WASHBOARD_EMAIL_URL", raising=False)
    env = environment(WASHBOARD_REDIS_URL="redis+socket:///private/redis.sock")
    assert env["WASHBOARD_SITE_URL"] == "https://washboard.example.org"
    assert env["WASHBOARD_REDIS_URL"] == "redis+socket:///private/redis.sock"
    assert env["WASHBOARD_EMAIL_URL"] == "folder:///vines%20%26%20wines/state/mail"


def test_management_commands_find_the_same_settings(tmp_path: Path) -> None:
    env = environment(WASHBOARD_DATABASE_URL="postgresql://site@/vines")
    keep_environment(tmp_path, env, "postgresql://owner@/vines")
    kept = read_json(tmp_path / "environment.json")
    assert kept["WASHBOARD_DATABASE_URL"] == "postgresql://site@/vines"
    assert kept["WASHBOARD_OWNER_DATABASE_URL"] == "postgresql://owner@/vines"
    assert "PATH" not in kept


def test_an_address_survives_odd_letters() -> None:
    cluster = Cluster(
        folder=Path("/data"), sockets=Path("/run/a b&c"), programs=Path("/bin")
    )
    parts = psycopg.conninfo.conninfo_to_dict(cluster.url("site", "p@ss:/w?rd&"))
    assert parts["password"] == "p@ss:/w?rd&"
    assert parts["host"] == "/run/a b&c"
    assert (parts["user"], parts["dbname"], parts["port"]) == (
        "site",
        "washboard",
        "5432",
    )


def test_one_login_a_role_is_shown(tmp_path: Path) -> None:
    (tmp_path / "demo-logins.json").write_text(
        '[{"role": "grower", "email": "a@example.org", "password": "one"},'
        ' {"role": "grower", "email": "b@example.org", "password": "two"},'
        ' {"role": "lab", "email": "c@example.org", "password": "three"}]'
    )
    shown = demo_logins(tmp_path)
    assert [line.split() for line in shown] == [
        ["grower", "a@example.org", "one"],
        ["lab", "c@example.org", "three"],
    ]


def test_no_demo_means_no_logins(tmp_path: Path) -> None:
    assert demo_logins(tmp_path) == []
