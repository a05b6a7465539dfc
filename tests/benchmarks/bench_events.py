"""Eight benches that come home at once, over HTTP, against a bare COPY, in one run.

    python -m tests.benchmarks.bench_events [PRESSES]

Invented presses of eight benches, five readings each, kept while there was no network.
They are sent over real HTTP to gunicorn as the site starts it (2 processes of 4
threads), in batches of 500, every bench on a connection and by a session of its own, at
the same time; then other presses, with every batch sent twice, as if each answer had
been lost. COPY is the owner's, of the very rows that came of the first, into the same
emptied table in one transaction; the bare INSERT is the site's, by executemany.
Allowed: 10 s for each, and no row lost or doubled. Needs the environment of the tests.
"""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from http.client import HTTPConnection
from io import BytesIO
from threading import Thread
from types import SimpleNamespace
from typing import Any

# Sets up Django, so it comes before everything of the site.
from tests.benchmarks.sheets import own_database  # isort: skip

from uuid import uuid4

from django.conf import settings
from django.db import connection, connections
from django.middleware.csrf import get_token
from django.test import Client, RequestFactory
from psycopg.conninfo import make_conninfo

from blocks.models import Membership
from blocks.services.groups import add_member, create_farm_group
from blocks.tenancy import stating
from monitoring.models import BenchDevice, BenchEvent
from tests.bench_devices import Device
from tests.builders import make_user

PRESSES, BENCHES, READINGS, BATCH = 20_000, 8, 5, 500
ALLOWED_S, WAIT_S = 10.0, 60.0
ROWS = "monitoring_benchevent"
BARE = f"""
INSERT INTO {ROWS} (uuid, farm_group_id, device_id, sequence, schema, kind,
    reading_uuid, payload, device_at, received_at, author_id, sent_by_id, refusal)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s::jsonb, %s, %s, %s, %s, %s)
"""
COLUMNS = [
    "uuid", "farm_group_id", "device_id", "sequence", "schema", "kind", "reading_uuid",
    "payload", "device_at", "received_at", "author_id", "sent_by_id", "refusal",
]  # fmt: skip


@dataclass
class Bench:
    """A device with what it kept, as bodies ready to be sent, and how it signs in."""

    device: Device
    bodies: list[bytes]
    headers: dict[str, str]


def farm_group() -> Any:
    """Make a farm group with a person for each bench."""
    group = create_farm_group(name="Benches", slug="benches")
    people = [make_user("lab") for _ in range(BENCHES)]
    for person in people:
        add_member(
            group, user=person, role=Membership.Role.LAB, valid_from=date(2000, 1, 1)
        )
    return SimpleNamespace(pk=group.pk, slug=group.slug, people=people)


def signed_in(person: Any) -> dict[str, str]:
    """Give the headers of a browser that is signed in and has the page's token."""
    client = Client()
    client.force_login(person)
    session = client.cookies[settings.SESSION_COOKIE_NAME].value
    request = RequestFactory().get("/")
    token = get_token(request)
    return {
        "Content-Type": "application/json",
        "Cookie": f"{settings.SESSION_COOKIE_NAME}={session};"
        f" {settings.CSRF_COOKIE_NAME}={token}",
        "X-CSRFToken": token,
    }


def kept_presses(group: Any, presses: int) -> list[Bench]:
    """Let every bench count without a network."""
    benches = []
    for person in group.people:
        device, organism = Device(person), uuid4()
        for _ in range(READINGS):
            reading = device.start(organism)
            for number in range(presses // BENCHES // READINGS):
                device.press(
                    reading, organism, f"{'ABCDEFGH'[number % 8]}{number % 9 + 1}"
                )
        bodies = [
            json.dumps(device.batch(device.events[at : at + BATCH])).encode()
            for at in range(0, len(device.events), BATCH)
        ]
        benches.append(Bench(device, bodies, signed_in(person)))
    return benches


@contextmanager
def site() -> Iterator[int]:
    """Serve the site from processes of its own, and give the port."""
    role = settings.DATABASES["default"]
    url = make_conninfo(
        dbname=role["NAME"],
        user=role["USER"],
        password=role["PASSWORD"],
        host=role["HOST"],
        port=role["PORT"],
    )
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        port = int(listening.getsockname()[1])
        process = subprocess.Popen(
            [
                *(sys.executable, "-m", "gunicorn", "deploy.project.wsgi"),
                *("--bind", f"fd://{listening.fileno()}", "--workers", "2"),
                *("--threads", "4", "--no-control-socket", "--log-level", "error"),
            ],
            env={**os.environ, "WASHBOARD_DATABASE_URL": url},
            pass_fds=(listening.fileno(),),
        )
        try:
            wait_for(port)
            yield port
        finally:
            process.terminate()
            process.wait(timeout=WAIT_S)


def wait_for(port: int) -> None:
    """Wait until the site answers."""
    until = time.monotonic() + WAIT_S
    while time.monotonic() < until:
        with suppress(OSError):
            link = HTTPConnection("127.0.0.1", port, timeout=5)
            link.request("GET", "/healthz")
            if link.getresponse().read():
                return
        time.sleep(0.1)
    raise SystemExit("The site did not start; see what gunicorn said above.")


def send_all(port: int, slug: str, benches: list[Bench], *, times: int) -> float:
    """Let every bench send all it kept, at the same time; give the seconds."""
    wrong: list[str] = []

    def send(bench: Bench) -> None:
        link = HTTPConnection("127.0.0.1", port, timeout=WAIT_S)
        for body in bench.bodies:
            for turn in range(times):
                link.request("POST", f"/g/{slug}/bench/events/", body, bench.headers)
                answer = link.getresponse()
                told = json.loads(answer.read())
                wanted = "known" if turn else "stored"
                statuses = {one["status"] for one in told.get("results", [])}
                if statuses != {wanted}:
                    wrong.append(f"{answer.status} {statuses} {told.get('detail')}")

    threads = [Thread(target=send, args=[bench]) for bench in benches]
    begun = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - begun
    if wrong:
        raise SystemExit(f"{len(wrong)} answers were wrong; the first: {wrong[0]}")
    return seconds


def is_whole(group: Any, benches: list[Bench]) -> bool:
    """Tell whether every event of every bench is there once, and nothing else."""
    with stating(group.pk):
        for bench in benches:
            device = BenchDevice.objects.get(uuid=bench.device.id)
            rows = BenchEvent.objects.filter(device=device, refusal="")
            found = [
                (str(key), number)
                for key, number in rows.order_by("sequence").values_list(
                    "uuid", "sequence"
                )
            ]
            made = [(one["id"], one["sequence"]) for one in bench.device.events]
            if found != made or device.complete_to != len(made) or device.unsent:
                return False
    return True


def bare_seconds(group: Any) -> tuple[float, float]:
    """Time the owner's COPY of the very rows, and the site's executemany of them."""
    link = connections["owner"]
    taken = BytesIO()
    with link.cursor() as cursor:
        # Where it is forced, row-level security hides rows from the owner too, and
        # refuses COPY.
        cursor.execute(f"ALTER TABLE {ROWS} NO FORCE ROW LEVEL SECURITY")
        with cursor.copy(f"COPY {ROWS} TO STDOUT") as copy:
            for part in copy:
                taken.write(part)
    with stating(group.pk):
        rows = list(BenchEvent.objects.values_list(*COLUMNS))
    rows = [(*row[:7], json.dumps(row[7]), *row[8:]) for row in rows]
    copied = inserted = float("inf")
    for _ in range(2):
        with link.cursor() as cursor:
            cursor.execute(f"TRUNCATE {ROWS} CASCADE")
            begun = time.perf_counter()
            cursor.execute("BEGIN")
            with cursor.copy(f"COPY {ROWS} FROM STDIN") as copy:
                copy.write(taken.getvalue())
            cursor.execute("COMMIT")
            copied = min(copied, time.perf_counter() - begun)
            cursor.execute(f"TRUNCATE {ROWS} CASCADE")
        begun = time.perf_counter()
        with stating(group.pk), connection.cursor() as cursor:
            cursor.executemany(BARE, rows)
        inserted = min(inserted, time.perf_counter() - begun)
    return copied, inserted


def main() -> int:
    """Measure, print, and say by the exit code whether all is within bounds."""
    presses = int(sys.argv[1]) if len(sys.argv) > 1 else PRESSES
    within = True
    with own_database(), site() as port:
        group = farm_group()
        for times, words in ((1, "each batch once"), (2, "each batch twice")):
            benches = kept_presses(group, presses)
            seconds = send_all(port, group.slug, benches, times=times)
            whole = is_whole(group, benches)
            if times == 1:
                copied, inserted = bare_seconds(group)
            ratio = f"{seconds / copied:.1f} x COPY, {seconds / inserted:.1f} x INSERT"
            sys.stdout.write(
                f"{presses:,} presses of {BENCHES} benches, {words}: {seconds:.2f} s"
                f" ({presses / seconds:,.0f} a second, {ratio});"
                f" {'every one there once' if whole else 'ROWS LOST OR DOUBLED'}\n"
            )
            within = within and whole and seconds <= ALLOWED_S
        sys.stdout.write(
            f"bare COPY {copied:.2f} s, bare INSERT by executemany {inserted:.2f} s\n"
        )
    return 0 if within else 1


if __name__ == "__main__":
    sys.exit(main())
