"""Only what is missing is installed, and the right PostgreSQL is used."""

import sys
from pathlib import Path

import pytest

from deploy.steps import interpreter, packages, postgres
from deploy.steps.accounts import account_for
from deploy.steps.packages import Needs
from deploy.steps.say import StepError


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine on which nothing is installed."""
    monkeypatch.setattr(packages, "find_program", lambda *_names: None)
    monkeypatch.setattr(packages, "postgres_majors", list)
    monkeypatch.delenv("WASHBOARD_CHROMIUM", raising=False)


@pytest.mark.usefixtures("bare")
def test_a_bare_machine_lacks_everything() -> None:
    assert packages.missing_packages(Needs(checks=True)) == [
        "postgresql",
        "redis-server",
        "gdal-bin",
        "shellcheck",
        "chromium",
        "zbar-tools",
    ]


@pytest.mark.usefixtures("bare")
def test_services_of_ones_own_are_not_installed() -> None:
    assert packages.missing_packages(Needs(postgres=False, redis=False)) == ["gdal-bin"]


@pytest.mark.usefixtures("bare")
def test_a_machine_without_apt_is_told_what_to_install() -> None:
    with pytest.raises(StepError, match=r"postgresql, redis-server.* by hand"):
        packages.install_missing(Needs(), "python3-venv")


def test_a_machine_that_has_everything_is_left_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(packages, "missing_packages", lambda _needs: [])
    monkeypatch.setattr(packages, "run", None)
    packages.install_missing(Needs(), None)


@pytest.mark.parametrize(
    ("shown", "package"),
    [
        # `apt-cache depends postgresql` on Debian 12 and on Ubuntu 26.04.
        ("postgresql\n  Depends: postgresql-15\n", "postgresql-15-postgis-3"),
        (
            "postgresql\n  Depends: postgresql-18\n  Suggests: postgresql-doc\n",
            "postgresql-18-postgis-3",
        ),
    ],
)
def test_postgis_is_that_of_the_systems_postgresql(
    monkeypatch: pytest.MonkeyPatch, shown: str, package: str
) -> None:
    monkeypatch.setattr(packages, "output_of", lambda _command: shown)
    assert packages._postgis_of_default() == [package]


def test_the_newest_version_that_has_postgis_makes_new_clusters(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for major in (9, 15, 17):
        (tmp_path / str(major) / "bin").mkdir(parents=True)
        (tmp_path / str(major) / "bin" / "initdb").touch()
    monkeypatch.setattr(packages, "POSTGRES_HOME", tmp_path)
    monkeypatch.setattr(packages, "has_postgis", lambda major: major < 17)
    assert packages.postgres_majors() == [15, 9]


def test_a_cluster_keeps_the_version_that_made_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cluster = tmp_path / "postgres"
    cluster.mkdir()
    (cluster / "PG_VERSION").write_text("15\n")
    (tmp_path / "17" / "bin").mkdir(parents=True)
    monkeypatch.setattr(postgres, "POSTGRES_HOME", tmp_path)
    with pytest.raises(StepError, match="postgresql-15-postgis-3 again"):
        postgres.make_cluster(cluster, sockets=tmp_path, account_name="me")


def test_other_files_are_not_taken_for_a_cluster(tmp_path: Path) -> None:
    cluster = tmp_path / "postgres"
    cluster.mkdir()
    (cluster / "letters.txt").touch()
    with pytest.raises(StepError, match="holds files but no PostgreSQL cluster"):
        postgres.make_cluster(cluster, sockets=tmp_path, account_name="me")


def test_a_python_that_the_account_cannot_run_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nobody = account_for(65534)
    assert nobody is not None
    closed = tmp_path / "python3"
    closed.write_text(f'#!/bin/sh\nexec {sys.executable} "$@"\n')
    closed.chmod(0)
    monkeypatch.setattr(interpreter, "_candidates", lambda: [str(closed)])
    assert interpreter.choose_interpreter(nobody) == (None, "python3-venv")
    with pytest.raises(StepError, match="account nobody can run"):
        interpreter.require_interpreter(nobody)
