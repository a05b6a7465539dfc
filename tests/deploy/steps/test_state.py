"""What is remembered is private, whole, and one command's at a time."""

import os
from pathlib import Path

import pytest

from deploy.steps.accounts import Account
from deploy.steps.say import StepError
from deploy.steps.state import (
    keep_secrets,
    lock,
    make_state_folder,
    read_json,
    write_json,
)

ME = Account(name="me", uid=os.geteuid(), gid=os.getegid(), home=Path("/"))


def test_a_file_is_private_and_comes_back(tmp_path: Path) -> None:
    file = tmp_path / "state.json"
    write_json(file, {"socket_folder": "/run/somewhere"})
    assert read_json(file) == {"socket_folder": "/run/somewhere"}
    assert file.stat().st_mode & 0o777 == 0o600


def test_an_interrupted_write_leaves_the_old_file(tmp_path: Path) -> None:
    file = tmp_path / "state.json"
    write_json(file, {"a": "1"})
    (tmp_path / "state.json.new").write_text('{"a": ')
    assert read_json(file) == {"a": "1"}
    write_json(file, {"a": "2"})
    assert read_json(file) == {"a": "2"}


def test_a_damaged_file_is_named_with_the_remedy(tmp_path: Path) -> None:
    file = tmp_path / "secrets.json"
    file.write_text("{")
    with pytest.raises(StepError, match=r"secrets\.json is damaged.*Delete it"):
        read_json(file)


def test_secrets_are_random_for_each_installation_and_then_kept(
    tmp_path: Path,
) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    second.mkdir()
    kept = keep_secrets(first)
    assert keep_secrets(first) == kept
    assert not set(kept.values()) & set(keep_secrets(second).values())
    # Django asks for a key of at least 50 characters.
    assert len(kept["WASHBOARD_SECRET_KEY"]) >= 50


def test_a_second_command_is_told_which_process_holds_the_folder(
    tmp_path: Path,
) -> None:
    held = lock(tmp_path, ME, already="Washboard already runs")
    with pytest.raises(StepError, match=f"already runs .process {os.getpid()}"):
        lock(tmp_path, ME, already="Washboard already runs")
    os.close(held)
    os.close(lock(tmp_path, ME, already="Washboard already runs"))


def test_a_file_in_the_folders_place_is_named(tmp_path: Path) -> None:
    (tmp_path / ".state").write_text("")
    with pytest.raises(StepError, match="is in the way"):
        make_state_folder(tmp_path / ".state", ME)


def test_a_missing_folder_is_made_for_the_account_alone(tmp_path: Path) -> None:
    make_state_folder(tmp_path / ".state" / "check", ME)
    for folder in (tmp_path / ".state", tmp_path / ".state" / "check"):
        assert folder.stat().st_mode & 0o777 == 0o700


def test_anothers_folder_is_refused(tmp_path: Path) -> None:
    stranger = Account(name="stranger", uid=ME.uid + 1, gid=ME.gid, home=Path("/"))
    with pytest.raises(StepError, match="does not belong to stranger"):
        make_state_folder(tmp_path, stranger)
