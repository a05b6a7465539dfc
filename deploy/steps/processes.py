"""Start processes, keep them running, and stop exactly those that were started."""

import json
import os
import signal
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn

from deploy.steps.accounts import Account
from deploy.steps.say import STOP_SIGNALS, StepError, Stopped, say

RECORD = "running.json"
POLL_S = 0.2
LOOK_EVERY_S = 30.0
# PostgreSQL replays its log first after a crash, and machines may be busy.
READY_WITHIN_S = 300.0
LOG_LIMIT_BYTES = 10_000_000
SHOWN_LINES = 20
# A process that falls this often within this time will not come right by itself.
MOST_FALLS = 5
FALLS_WITHIN_S = 120.0


@dataclass(frozen=True, kw_only=True)
class Service:
    """A program that runs until it is told to stop."""

    name: str
    command: Sequence[str | Path]
    env: Mapping[str, str]
    stop_signal: signal.Signals = signal.SIGTERM
    stop_within_s: float = 20
    open_files: tuple[int, ...] = ()


@dataclass(kw_only=True)
class Running:
    """A service's present process and how often it fell."""

    service: Service
    process: subprocess.Popen[bytes]
    falls: list[float] = field(default_factory=list)


class Supervisor:
    """The processes of one command; it knows no others, so it stops no others."""

    def __init__(self, *, state: Path, folder: Path) -> None:
        self._logs = state / "log"
        self._record = state / RECORD
        self._folder = folder
        self._running: list[Running] = []
        self._stopping = False
        self._hurried = False
        self._logs.mkdir(exist_ok=True)

    def catch_signals(self) -> None:
        """Turn Ctrl-C, a TERM signal and a closed terminal into `Stopped`."""
        for number in STOP_SIGNALS:
            signal.signal(number, self._on_signal)

    def _on_signal(self, number: int, _frame: object) -> None:
        if self._stopping:
            # Asked twice: the person will not wait for a polite end.
            self._hurried = number == signal.SIGINT
            return
        self._stopping = True
        raise Stopped

    def start(self, service: Service) -> None:
        """Start a service in a session of its own, out of the terminal's reach."""
        self._running.append(Running(service=service, process=self._spawn(service)))
        self._write_record()

    def run(
        self, command: Sequence[str | Path], *, env: Mapping[str, str], failing: str
    ) -> None:
        """Run a command to its end; on failure show its words and stop."""
        service = Service(name="setup", command=command, env=env)
        self.start(service)
        running = self._running[-1]
        code = running.process.wait()
        self._running.remove(running)
        if code:
            raise self._fault("setup", failing)

    def wait_for(
        self, name: str, ready: Callable[[], bool], *, limit_s: float = READY_WITHIN_S
    ) -> None:
        """Wait until a service answers, or stop with the end of its log."""
        running = self._named(name)

        def settled() -> bool:
            return running.process.poll() is not None or ready()

        if not wait_until(settled, limit_s=limit_s):
            raise self._fault(name, f"{name} did not answer within {limit_s:.0f} s.")
        if (code := running.process.poll()) is not None:
            raise self._fault(name, f"{name} ended with code {code}.")

    def watch(self, look: Callable[[], tuple[str, ...]]) -> NoReturn:
        """Start again what falls; stop with a sentence if it keeps falling.

        Twice a minute `look` may name services that run and yet do no work.
        """
        next_look = time.monotonic() + LOOK_EVERY_S
        while True:
            for running in self._running:
                if running.process.poll() is not None:
                    self._raise_again(running)
            if time.monotonic() > next_look:
                for idle in look():
                    say(f"{idle} does no work any more; starting it again.")
                    running = self._named(idle)
                    self._end(running)
                    self._respawn(running)
                next_look = time.monotonic() + LOOK_EVERY_S
            time.sleep(POLL_S)

    def _named(self, name: str) -> Running:
        return next(one for one in self._running if one.service.name == name)

    def _raise_again(self, running: Running) -> None:
        name = running.service.name
        code = running.process.returncode
        now = time.monotonic()
        running.falls = [at for at in running.falls if now - at < FALLS_WITHIN_S]
        running.falls.append(now)
        if len(running.falls) >= MOST_FALLS:
            raise self._fault(
                name,
                f"{name} ended {MOST_FALLS} times within {FALLS_WITHIN_S:.0f} s,"
                f" last with code {code}.",
            )
        # What it left behind in its session would hold its port, files or memory.
        _signal_session(running.process.pid, signal.SIGKILL)
        say(f"{name} ended unasked (code {code}); starting it again.")
        time.sleep(min(len(running.falls) - 1, 10))
        self._respawn(running)

    def _respawn(self, running: Running) -> None:
        running.process = self._spawn(running.service)
        self._write_record()

    def stop(self) -> None:
        """Stop everything that was started, last first, each with time to finish."""
        self._stopping = True
        if self._running:
            names = ", ".join(one.service.name for one in reversed(self._running))
            say(f"\nStopping {names}.")
        while self._running:
            running = self._running.pop()
            self._end(running)
        self._record.unlink(missing_ok=True)

    def _end(self, running: Running) -> None:
        process, service = running.process, running.service
        if process.poll() is None:
            _signal(process.pid, service.stop_signal)
            wait_until(
                lambda: self._hurried or process.poll() is not None,
                limit_s=service.stop_within_s,
            )
        if process.poll() is None and service.stop_signal == signal.SIGINT:
            # PostgreSQL comes back from an immediate stop by its log.
            _signal(process.pid, signal.SIGQUIT)
            wait_until(lambda: process.poll() is not None, limit_s=10)
        _signal_session(process.pid, signal.SIGKILL)
        process.wait()

    def _spawn(self, service: Service) -> subprocess.Popen[bytes]:
        log = self._logs / f"{service.name}.log"
        if log.exists() and log.stat().st_size > LOG_LIMIT_BYTES:
            log.replace(log.with_name(f"{log.name}.1"))
        with log.open("ab") as output:
            return subprocess.Popen(  # noqa: S603 - our own commands, no shell
                # If this process is killed, the kernel stops the service too.
                [
                    *("/usr/bin/setpriv", "--pdeathsig", service.stop_signal.name[3:]),
                    *("--", *service.command),
                ],
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                env=dict(service.env),
                cwd=self._folder,
                start_new_session=True,
                pass_fds=service.open_files,
            )

    def _write_record(self) -> None:
        found = {
            one.service.name: [one.process.pid, started_at(one.process.pid)]
            for one in self._running
        }
        self._record.write_text(json.dumps(found))

    def _fault(self, name: str, sentence: str) -> StepError:
        log = self._logs / f"{name}.log"
        return StepError(f"{sentence} Its log: {log}", words=last_lines(log))


def stop_leftovers(record: Path, account: Account) -> None:
    """End what an earlier command of this folder left behind when it was killed."""
    try:
        left: dict[str, list[int]] = json.loads(record.read_text())
    except (OSError, ValueError):
        return
    alive = {
        name: pid
        for name, (pid, started) in left.items()
        if started_at(pid) == started and _runs_as(account, pid)
    }
    for name, pid in alive.items():
        say(f"Stopping {name}, which an interrupted start left running.")
        # PostgreSQL's fast stop; the others take it as Ctrl-C.
        _signal(pid, signal.SIGINT)
    for pid in alive.values():
        if not wait_until(lambda pid=pid: started_at(pid) is None, limit_s=15):  # type: ignore[misc]  # mypy cannot see through the default
            _signal_session(pid, signal.SIGKILL)


def _runs_as(account: Account, pid: int) -> bool:
    """Tell whether the account runs the process: its record may name only its own."""
    try:
        return Path(f"/proc/{pid}").stat().st_uid == account.uid
    except OSError:
        return False


def started_at(pid: int) -> int | None:
    """Give when a process started, in clock ticks; None if it is gone.

    A process number is used again, but not with the same start.
    """
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    except (OSError, IndexError):
        return None
    # proc(5): field 3 is the state (Z, ended but not yet collected), 22 the start.
    return None if fields[0] == "Z" else int(fields[19])


def wait_until(true: Callable[[], bool], *, limit_s: float) -> bool:
    """Look again and again until it is true or the time is over."""
    end = time.monotonic() + limit_s
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(POLL_S / 4)
    return True


def last_lines(log: Path) -> list[str]:
    """Give the end of a log file."""
    try:
        lines = log.read_text(errors="replace").splitlines()
    except OSError:
        return []
    return [line for line in lines if line.strip()][-SHOWN_LINES:]


def _signal(pid: int, number: signal.Signals) -> None:
    try:
        os.kill(pid, number)
    except ProcessLookupError:
        return


def _signal_session(leader: int, number: signal.Signals) -> None:
    try:
        os.killpg(leader, number)
    except ProcessLookupError:
        return
