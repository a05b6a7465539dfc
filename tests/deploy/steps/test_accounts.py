"""The account that runs everything can read it all, or the folder is named."""

import os
import pwd
from pathlib import Path

import pytest

from deploy.steps.accounts import (
    Account,
    account_for,
    choose_account,
    identity,
    require_entry,
    require_reading,
)
from deploy.steps.say import StepError


@pytest.fixture
def account() -> Account:
    """Whoever runs the tests, or somebody else if that is root, who may all."""
    found = account_for(os.geteuid()) or account_for(pwd.getpwnam("nobody").pw_uid)
    assert found is not None
    return found


def open_to_all(tmp_path: Path) -> None:
    """Let others enter the test's folder, which pytest closes to them."""
    for folder in (tmp_path, *list(tmp_path.parents)[:2]):
        folder.chmod(folder.stat().st_mode | 0o055)


def test_a_folder_that_cannot_be_entered_is_named(
    tmp_path: Path, account: Account
) -> None:
    closed = tmp_path / "closed"
    inner = closed / "checkout"
    inner.mkdir(parents=True)
    open_to_all(tmp_path)
    closed.chmod(0)
    with pytest.raises(StepError, match=f"cannot enter the folder {closed}\\."):
        require_entry(account, inner)
    closed.chmod(0o711)
    inner.chmod(0o711)
    require_entry(account, inner)


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, account: Account) -> None:
    open_to_all(tmp_path)
    source = tmp_path / "blocks" / "models"
    source.mkdir(parents=True)
    (source / "people.py").touch()
    require_reading(account, [tmp_path / "blocks"])
    (source / "people.py").chmod(0)
    with pytest.raises(StepError, match=r"cannot read .*models/people\.py"):
        require_reading(account, [tmp_path / "blocks"])


def test_what_python_made_for_itself_need_not_be_read(
    tmp_path: Path, account: Account
) -> None:
    open_to_all(tmp_path)
    (tmp_path / "blocks" / "__pycache__").mkdir(parents=True)
    (tmp_path / "blocks" / "__pycache__" / "a.pyc").touch(mode=0)
    require_reading(account, [tmp_path / "blocks"])


def test_root_is_nobodys_account() -> None:
    assert account_for(0) is None


def test_a_number_without_a_name_is_nobodys_account() -> None:
    unknown = max(entry.pw_uid for entry in pwd.getpwall()) + 1
    assert account_for(unknown) is None


def test_the_state_folders_owner_runs_everything(
    tmp_path: Path, account: Account
) -> None:
    state = tmp_path / ".state"
    state.mkdir()
    if os.geteuid() != account.uid:
        os.chown(state, account.uid, account.gid)
    assert choose_account(tmp_path, state) == account


def test_no_switch_is_asked_for_where_there_is_none_to_make() -> None:
    me = Account(name="me", uid=os.geteuid(), gid=os.getegid(), home=Path("/"))
    assert identity(me) == {}
    assert identity(None) == {}
