"""A lock file that is out of step, or names an address, is found."""

import shutil
from pathlib import Path

import pytest

from deploy.steps.locks import LOCKS, faults_in_locks
from deploy.steps.places import CHECKOUT


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    for name in (*LOCKS, "requirements.in", "requirements-dev.in"):
        shutil.copy(CHECKOUT / name, tmp_path / name)
    return tmp_path


def test_the_projects_locks_are_in_step(copy: Path) -> None:
    assert faults_in_locks(copy) == []


def test_a_remark_changes_nothing(copy: Path) -> None:
    with (copy / "requirements.in").open("a") as file:
        file.write("\n# a reason for something\n")
    assert faults_in_locks(copy) == []


def test_a_new_requirement_asks_for_a_new_lock(copy: Path) -> None:
    with (copy / "requirements.in").open("a") as file:
        file.write("\nsomething>=2\n")
    [fault] = faults_in_locks(copy)
    assert fault.startswith("requirements.txt was not locked from the present")
    assert fault.endswith("run deploy/steps/lock.")


def test_the_second_lock_follows_the_first(copy: Path) -> None:
    file = copy / "requirements.txt"
    file.write_text(file.read_text().replace("django==5.2", "django==5.3", 1))
    [fault] = faults_in_locks(copy)
    assert fault.startswith("requirements-dev.txt was not locked")


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("--index-url https://mirror.example.org/simple", "an address or an option"),
        ("something @ https://example.org/something.whl", "an address or an option"),
        ("something==1.0", "something==1.0 is not pinned, or has no hash"),
        ("something>=1.0 --hash=sha256:" + "0" * 64, "something>=1.0 is not pinned"),
    ],
)
def test_what_is_no_pin_is_named(copy: Path, line: str, fault: str) -> None:
    with (copy / "requirements-dev.txt").open("a") as file:
        file.write(f"{line}\n")
    assert any(fault in found for found in faults_in_locks(copy))


def test_pins_keep_their_extras() -> None:
    # pip 23 takes a newer release for "name[extra]>=1" where the pin says "name==1"
    # alone, and then misses its hash: the lock would break on that release's day.
    pins = (CHECKOUT / "requirements.txt").read_text()
    assert "psycopg[binary,pool]==" in pins
    assert "coverage[toml]==" in (CHECKOUT / "requirements-dev.txt").read_text()
