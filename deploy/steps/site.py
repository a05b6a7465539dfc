"""Prepare the site's database and files, and start its three processes."""

import http.client
import json
import socket
from collections.abc import Mapping
from pathlib import Path

from deploy.steps.given import OWNER_URL
from deploy.steps.places import CHECKOUT, Places
from deploy.steps.ports import is_everywhere
from deploy.steps.processes import Service, Supervisor
from deploy.steps.pulse import Pulse
from deploy.steps.say import say
from deploy.steps.statics import gather_static_files
from deploy.steps.tls import Tls

# Each process has a pool of up to 8 connections; PostgreSQL takes 100.
WEB_PROCESSES = 2
WEB_THREADS = 4
WORKER_PROCESSES = 2
LOGINS = "demo-logins.json"


def prepare_site(
    supervisor: Supervisor,
    places: Places,
    env: Mapping[str, str],
    *,
    owner_url: str,
    demo: bool,
) -> None:
    """Migrate as owner, gather the static files, and load the demo if it is wanted."""
    manage = [places.python, CHECKOUT / "manage.py"]
    say("Bringing the database to the code's state.")
    supervisor.run(
        [*manage, "prepare_database", "--verbosity", "0"],
        env={**env, OWNER_URL: owner_url},
        failing="The database could not be prepared.",
    )
    gather_static_files(supervisor, places, env)
    if demo:
        say("Loading the invented farm group, unless it is there (a minute).")
        supervisor.run(
            [*manage, "load_demo"],
            env=env,
            failing="The invented farm group could not be loaded.",
        )


def start_site(
    supervisor: Supervisor,
    places: Places,
    env: Mapping[str, str],
    *,
    listening: socket.socket,
    tls: Tls | None = None,
) -> Pulse:
    """Start web server, worker and beat, and wait until all three do their work.

    Give the pulse that tells whether they go on.
    """
    say("Starting the web server, a worker and beat.")
    pulse = Pulse(places=places, env=env)
    started = pulse.now()
    supervisor.start(web_service(places, env, listening, tls))
    supervisor.start(_worker(places, env))
    supervisor.start(_beat(places, env))
    supervisor.wait_for("web", lambda: web_answers(listening, tls))
    # Beat sends the pulse and the worker writes it: one row speaks for both.
    supervisor.wait_for("beat", lambda: pulse.beat_since(started))
    return pulse


def web_service(
    places: Places, env: Mapping[str, str], listening: socket.socket, tls: Tls | None
) -> Service:
    """Give the web server, on a socket that is bound already."""
    # One file holds certificate and key; it is read at each connection. Python's
    # own lowest version of TLS is 1.2.
    over_tls = ("--certfile", tls.server_file) if tls else ()
    return Service(
        name="web",
        command=[
            *(places.python, "-m", "gunicorn", "deploy.project.wsgi"),
            # The socket is already bound, so nobody can have taken the port.
            *("--bind", f"fd://{listening.fileno()}"),
            *("--workers", str(WEB_PROCESSES), "--threads", str(WEB_THREADS)),
            *("--timeout", "60", "--graceful-timeout", "10"),
            *("--no-control-socket", "--access-logfile", "-"),
            *over_tls,
        ],
        env=env,
        open_files=(listening.fileno(),),
    )


def _worker(places: Places, env: Mapping[str, str]) -> Service:
    return Service(
        name="worker",
        command=[
            *(places.python, "-m", "celery", "--app", "deploy.project.celery"),
            *("worker", "--loglevel", "INFO", "--concurrency", str(WORKER_PROCESSES)),
            # One worker has nobody to gossip with.
            *("--without-gossip", "--without-mingle"),
        ],
        env=env,
    )


def _beat(places: Places, env: Mapping[str, str]) -> Service:
    return Service(
        name="beat",
        command=[
            *(places.python, "-m", "celery", "--app", "deploy.project.celery"),
            *("beat", "--loglevel", "INFO"),
            *("--schedule", str(places.state / "beat-schedule"), "--pidfile", ""),
        ],
        env=env,
    )


def web_answers(listening: socket.socket, tls: Tls | None) -> bool:
    """Tell whether the web server answers; over TLS, with a chain that is in order."""
    host, port = listening.getsockname()[:2]
    near = "127.0.0.1" if is_everywhere(host) else host
    link = http.client.HTTPConnection(near, port, timeout=5)
    if tls:
        link = http.client.HTTPSConnection(
            near, port, timeout=5, context=tls.trusting()
        )
    try:
        # Any answer will do: settings may send this address to HTTPS, or refuse it.
        link.request("GET", "/healthz")
        link.getresponse()
    except (OSError, http.client.HTTPException):
        return False
    finally:
        link.close()
    return True


def demo_logins(state: Path) -> list[str]:
    """Give a line for the first demo login of each role."""
    try:
        logins = json.loads((state / LOGINS).read_text())
    except (OSError, ValueError):
        return []
    shown: dict[str, str] = {}
    for login in logins:
        shown.setdefault(
            login["role"],
            f"  {login['role']:<14} {login['email']:<36} {login['password']}",
        )
    return list(shown.values())
