"""The two commands say what they do, and refuse what they do not understand."""

import os
import subprocess
from pathlib import Path
from urllib.parse import quote

import pytest

from deploy.steps.checks import shell_scripts
from deploy.steps.manage import refuse_without_database
from deploy.steps.places import CHECKOUT
from deploy.steps.say import StepError
from deploy.steps.sockets import POSTGRES_SOCKET, RECORD
from deploy.steps.state import write_json


def call(
    command: str, *arguments: str, folder: Path
) -> subprocess.CompletedProcess[str]:
    env = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("WASHBOARD_")
    }
    return subprocess.run(
        [CHECKOUT / "deploy" / command, *arguments],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )


@pytest.mark.parametrize("command", ["start", "check"])
def test_help_is_given_from_any_folder(command: str, tmp_path: Path) -> None:
    # A package of the same name there must not get in the way.
    (tmp_path / "deploy").mkdir()
    (tmp_path / "deploy" / "__init__.py").write_text("raise SystemExit(9)")
    done = call(command, "--help", folder=tmp_path)
    assert done.returncode == 0
    assert f"deploy/{command}" in done.stdout


def test_an_impossible_port_is_refused(tmp_path: Path) -> None:
    done = call("start", "--port", "99999", folder=tmp_path)
    assert done.returncode == 2
    assert "1 to 65535" in done.stderr


def test_every_address_needs_a_name(tmp_path: Path) -> None:
    done = call("start", "--host", "::0", folder=tmp_path)
    assert done.returncode == 1
    assert "WASHBOARD_SITE_URL=" in done.stderr


def test_demo_and_no_demo_exclude_each_other(tmp_path: Path) -> None:
    assert call("start", "--demo", "--no-demo", folder=tmp_path).returncode == 2


def test_every_shell_script_stops_at_the_first_fault() -> None:
    scripts = shell_scripts()
    assert {script.name for script in scripts} >= {"start", "check", "manage", "run"}
    for script in scripts:
        assert "\nset -euo pipefail\n" in script.read_text(), script
        assert os.access(script, os.X_OK), script


def test_management_commands_ask_for_a_running_database(tmp_path: Path) -> None:
    sockets = tmp_path / "sockets"
    sockets.mkdir()
    write_json(tmp_path / RECORD, {"socket_folder": str(sockets)})
    url = f"postgresql://site@/washboard?host={quote(str(sockets), safe='')}&port=5432"
    kept = {"WASHBOARD_DATABASE_URL": url}
    with pytest.raises(StepError, match="Leave deploy/start running"):
        refuse_without_database(tmp_path, kept)
    (sockets / POSTGRES_SOCKET).touch()
    refuse_without_database(tmp_path, kept)


def test_management_commands_do_not_judge_a_database_of_ones_own(
    tmp_path: Path,
) -> None:
    kept = {"WASHBOARD_DATABASE_URL": "postgresql://site@db.example.org/vines"}
    refuse_without_database(tmp_path, kept)
