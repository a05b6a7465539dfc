"""Tell a worker that is busy from one that is stuck."""

import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, LiteralString

import psycopg

from deploy.steps.given import SITE_URL
from deploy.steps.places import CHECKOUT, Places

# Beat's pulse goes through the worker every 20 s. While long tasks hold all its
# processes the pulse waits, but the worker answers a ping; the longest task allowed
# ends after 14 minutes.
PULSE_LATE_S = 120
PULSE_LOST_S = 20 * 60
PING_WITHIN_S = 10


@dataclass(frozen=True, kw_only=True)
class Pulse:
    """Beat's pulse through the worker, as the database has it."""

    places: Places
    env: Mapping[str, str]

    def now(self) -> datetime:
        """Give the database's time."""
        now: datetime = self._ask("SELECT clock_timestamp()")
        return now

    def beat_since(self, moment: datetime) -> bool:
        """Tell whether a pulse went through after that moment."""
        try:
            newest = self._ask("SELECT max(beaten_at) FROM deploy_heartbeat")
        except psycopg.Error:
            return False
        return newest is not None and bool(newest >= moment)

    def stuck_services(self) -> tuple[str, ...]:
        """Name the services that run and yet do no work."""
        try:
            age_s = self._ask(
                "SELECT extract(epoch FROM clock_timestamp() - max(beaten_at))::float"
                " FROM deploy_heartbeat"
            )
        except psycopg.Error:
            # The database's fault, and PostgreSQL is looked after by itself.
            return ()
        if age_s is None or age_s < PULSE_LATE_S:
            return ()
        if age_s > PULSE_LOST_S:
            return ("worker", "beat")
        return () if self._worker_answers() else ("worker",)

    def _ask(self, question: LiteralString) -> Any:
        with psycopg.connect(self.env[SITE_URL], connect_timeout=5) as link:
            [[answer]] = link.execute(question).fetchall()
        return answer

    def _worker_answers(self) -> bool:
        command: list[str | Path] = [
            *(self.places.python, "-m", "celery", "--app", "deploy.project.celery"),
            *("inspect", "ping", "--timeout", str(PING_WITHIN_S)),
        ]
        try:
            return not subprocess.call(  # noqa: S603 - our own command, no shell
                command,
                env=dict(self.env),
                cwd=CHECKOUT,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=PING_WITHIN_S * 3,
            )
        except subprocess.TimeoutExpired:
            return False
