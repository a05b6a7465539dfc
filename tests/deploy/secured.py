"""The site's own web server, serving over TLS as `deploy/start --tls` does."""

import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from deploy.steps.places import CHECKOUT, Places
from deploy.steps.ports import everywhere, take_port
from deploy.steps.processes import Supervisor
from deploy.steps.serving import Serving
from deploy.steps.settings import site_environment
from deploy.steps.site import web_answers, web_service
from deploy.steps.tls import Tls

# RFC 6761: a name that means no real machine.
NAME = "vines.test"
SETTINGS = ("WASHBOARD_DATABASE_URL", "WASHBOARD_REDIS_URL")


@dataclass(frozen=True)
class Secured:
    """A site that runs, its port and its certificates."""

    port: int
    tls: Tls
    listening: socket.socket


@contextmanager
def secured_site(state: Path) -> Iterator[Secured]:
    """Serve over TLS until the block is left."""
    places = Places(state=state, environment=Path(sys.prefix), requirements=())
    supervisor = Supervisor(state=state, folder=CHECKOUT)
    with take_port(everywhere(), None) as listening:
        serving = Serving(state, listening, [NAME], {})
        env = site_environment(
            state=state,
            site_url="",
            services={
                name: os.environ[name] for name in SETTINGS if name in os.environ
            },
            secret_key="k" * 60,
            tls=serving.settings(),
        )
        env |= {"WASHBOARD_SITE_URL": serving.url}
        try:
            supervisor.start(web_service(places, env, listening, serving.tls))
            supervisor.wait_for(
                "web", lambda: web_answers(listening, serving.tls), limit_s=60
            )
            yield Secured(listening.getsockname()[1], serving.tls, listening)
        finally:
            supervisor.stop()
