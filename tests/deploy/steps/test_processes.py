"""What was started is kept up and stopped; what was not is left alone."""

import json
import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from deploy.steps import processes
from deploy.steps.accounts import Account
from deploy.steps.processes import (
    Service,
    Supervisor,
    started_at,
    stop_leftovers,
    wait_until,
)
from deploy.steps.say import StepError

ME = Account(name="me", uid=os.geteuid(), gid=os.getegid(), home=Path("/"))
ENDLESS = ("sleep", "infinity")
DEAF = ("sh", "-c", "trap '' TERM; sleep infinity & echo $!; wait")


class SeenEnoughError(Exception):
    """The watch has done what the test waited for."""


@pytest.fixture
def supervisor(tmp_path: Path) -> Iterator[Supervisor]:
    made = Supervisor(state=tmp_path, folder=tmp_path)
    yield made
    made.stop()


def service(*command: str, name: str = "vat", stop_within_s: float = 20) -> Service:
    return Service(
        name=name, command=command, env=os.environ, stop_within_s=stop_within_s
    )


def pid_of(tmp_path: Path, name: str = "vat") -> int:
    pid: int = json.loads((tmp_path / "running.json").read_text())[name][0]
    return pid


def test_stop_ends_what_was_started_and_nothing_else(
    supervisor: Supervisor, tmp_path: Path
) -> None:
    with subprocess.Popen(ENDLESS) as other:
        supervisor.start(service(*ENDLESS))
        ours = pid_of(tmp_path)
        supervisor.stop()
        assert started_at(ours) is None
        assert other.poll() is None
        other.kill()
    assert not (tmp_path / "running.json").exists()


def test_stop_ends_the_whole_session_of_a_service_that_will_not_listen(
    supervisor: Supervisor, tmp_path: Path
) -> None:
    log = tmp_path / "log" / "vat.log"
    supervisor.start(service(*DEAF, stop_within_s=0))
    supervisor.wait_for("vat", lambda: log.read_text().endswith("\n"))
    leader, child = pid_of(tmp_path), int(log.read_text())
    supervisor.stop()
    assert started_at(leader) is None
    assert wait_until(lambda: started_at(child) is None, limit_s=10)


def test_what_is_killed_is_started_again(
    supervisor: Supervisor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "LOOK_EVERY_S", 0)
    supervisor.start(service(*ENDLESS))
    first = pid_of(tmp_path)
    os.kill(first, signal.SIGKILL)

    def look() -> tuple[str, ...]:
        if pid_of(tmp_path) != first:
            raise SeenEnoughError
        return ()

    with pytest.raises(SeenEnoughError):
        supervisor.watch(look)
    assert started_at(pid_of(tmp_path)) is not None


def test_what_does_no_work_is_started_again(
    supervisor: Supervisor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "LOOK_EVERY_S", 0)
    supervisor.start(service(*ENDLESS))
    first = pid_of(tmp_path)

    def look() -> tuple[str, ...]:
        if pid_of(tmp_path) != first:
            raise SeenEnoughError
        return ("vat",)

    with pytest.raises(SeenEnoughError):
        supervisor.watch(look)
    assert started_at(first) is None


def test_what_keeps_falling_is_given_up_with_its_last_words(
    supervisor: Supervisor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "MOST_FALLS", 2)
    supervisor.start(service("sh", "-c", "echo the vat leaks; exit 3"))
    with pytest.raises(StepError, match=r"2 times .* with code 3") as caught:
        supervisor.watch(tuple)
    assert "the vat leaks" in caught.value.words


def test_a_service_that_ends_at_once_is_named_with_its_last_words(
    supervisor: Supervisor,
) -> None:
    supervisor.start(service("sh", "-c", "echo no such vat; exit 4"))
    with pytest.raises(StepError, match="vat ended with code 4") as caught:
        supervisor.wait_for("vat", lambda: False)
    assert caught.value.words == ["no such vat"]


def test_a_service_that_does_not_answer_is_named(supervisor: Supervisor) -> None:
    supervisor.start(service(*ENDLESS))
    with pytest.raises(StepError, match="vat did not answer"):
        supervisor.wait_for("vat", lambda: False, limit_s=0)


def test_a_failing_step_shows_its_words(supervisor: Supervisor) -> None:
    with pytest.raises(StepError, match=r"It could not be filled\.") as caught:
        supervisor.run(
            ["sh", "-c", "echo the tap is dry; exit 1"],
            env=os.environ,
            failing="It could not be filled.",
        )
    assert "the tap is dry" in caught.value.words


def test_a_killed_starts_services_are_ended(tmp_path: Path) -> None:
    left = subprocess.Popen(ENDLESS, start_new_session=True)
    record = tmp_path / "running.json"
    record.write_text(json.dumps({"vat": [left.pid, started_at(left.pid)]}))
    stop_leftovers(record, ME)
    assert left.wait() == -signal.SIGINT


def test_a_process_that_only_has_the_number_is_left_alone(tmp_path: Path) -> None:
    with subprocess.Popen(ENDLESS) as other:
        record = tmp_path / "running.json"
        record.write_text(json.dumps({"vat": [other.pid, 1]}))
        stop_leftovers(record, ME)
        assert other.poll() is None
        other.kill()


def test_a_process_of_another_account_is_left_alone(tmp_path: Path) -> None:
    stranger = Account(name="stranger", uid=ME.uid + 1, gid=ME.gid, home=Path("/"))
    with subprocess.Popen(ENDLESS) as other:
        record = tmp_path / "running.json"
        record.write_text(json.dumps({"vat": [other.pid, started_at(other.pid)]}))
        stop_leftovers(record, stranger)
        assert other.poll() is None
        other.kill()


def test_a_long_log_makes_room(
    supervisor: Supervisor, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(processes, "LOG_LIMIT_BYTES", 10)
    (tmp_path / "log" / "vat.log").write_text("older than yesterday")
    supervisor.start(service(*ENDLESS))
    assert (tmp_path / "log" / "vat.log.1").read_text() == "older than yesterday"
