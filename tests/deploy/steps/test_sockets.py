"""Sockets lie in a short folder that only their account enters."""

import json
import os
from pathlib import Path

import pytest

from deploy.steps import sockets
from deploy.steps.say import StepError


@pytest.fixture
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("TMPDIR", raising=False)
    return tmp_path


def test_the_longest_path_has_107_bytes() -> None:
    # sun_path[108] with its closing NUL: unix(7).
    sockets.require_short(Path("/" + "a" * 106))
    with pytest.raises(StepError, match="has 108 bytes; Linux takes 107"):
        sockets.require_short(Path("/" + "a" * 107))


def test_bytes_count_and_not_letters() -> None:
    with pytest.raises(StepError, match="has 121 bytes"):
        sockets.require_short(Path("/" + "ü" * 60))


def test_the_folder_is_private_and_kept(state: Path) -> None:
    folder = sockets.keep_socket_folder(state)
    assert folder.stat().st_mode & 0o777 == 0o700
    assert sockets.keep_socket_folder(state) == folder
    assert json.loads((state / "state.json").read_text())["socket_folder"] == str(
        folder
    )
    folder.rmdir()


def test_a_folder_that_was_swept_away_is_made_anew(state: Path) -> None:
    first = sockets.keep_socket_folder(state)
    first.rmdir()
    second = sockets.keep_socket_folder(state)
    assert second.is_dir()
    second.rmdir()


def test_a_folder_that_others_may_enter_is_not_trusted(state: Path) -> None:
    first = sockets.keep_socket_folder(state)
    first.chmod(0o755)
    second = sockets.keep_socket_folder(state)
    assert second != first
    first.rmdir()
    second.rmdir()


def test_anothers_folder_is_not_trusted(
    state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = sockets.keep_socket_folder(state)
    me = os.geteuid()
    monkeypatch.setattr(os, "geteuid", lambda: me + 1)
    assert not sockets.is_private(folder)
    folder.rmdir()


def test_a_link_in_the_folders_place_is_not_trusted(state: Path) -> None:
    first = sockets.keep_socket_folder(state)
    first.rmdir()
    real = state / "real"
    real.mkdir(mode=0o700)
    first.symlink_to(real)
    second = sockets.keep_socket_folder(state)
    assert second != first
    first.unlink()
    second.rmdir()


def test_a_long_temporary_folder_is_passed_over(
    state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deep = state / ("long" * 30)
    deep.mkdir()
    monkeypatch.setenv("TMPDIR", str(deep))
    folder = sockets.keep_socket_folder(state)
    assert not folder.is_relative_to(deep)
    folder.rmdir()
