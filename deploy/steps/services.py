"""Bring up the private PostgreSQL and Redis, or use the person's own."""

import os
import signal
from dataclasses import dataclass
from pathlib import Path

import psycopg

from deploy.steps.given import REDIS_URL, SITE_URL, OwnServices
from deploy.steps.own_services import look_at_database, look_at_redis
from deploy.steps.postgres import OWNER, SITE, Cluster, make_cluster, provision
from deploy.steps.processes import Service, Supervisor
from deploy.steps.redis_server import make_redis
from deploy.steps.say import say
from deploy.steps.sockets import keep_socket_folder


@dataclass(frozen=True, kw_only=True)
class Addresses:
    """Where the services are: what the site is told, and what only the owner is."""

    site: dict[str, str]
    owner_url: str


@dataclass(frozen=True, kw_only=True)
class Installation:
    """What the private services are made with."""

    state: Path
    account_name: str
    passwords: dict[str, str]
    lasting: bool = True


def bring_up(
    supervisor: Supervisor, installation: Installation, own: OwnServices
) -> Addresses:
    """Give the addresses of a PostgreSQL and a Redis that answer."""
    if own.site_url and own.owner_url:
        say("Looking at the PostgreSQL that WASHBOARD_DATABASE_URL names.")
        look_at_database(own.site_url, own.owner_url)
        site_url, owner_url = own.site_url, own.owner_url
    else:
        say("Starting a private PostgreSQL.")
        site_url, owner_url = _private_postgres(supervisor, installation)
    if own.redis_url:
        say("Looking at the Redis that WASHBOARD_REDIS_URL names.")
        look_at_redis(own.redis_url)
        redis_url = own.redis_url
    else:
        say("Starting a private Redis.")
        redis_url = _private_redis(supervisor, installation.state)
    return Addresses(
        site={SITE_URL: site_url, REDIS_URL: redis_url}, owner_url=owner_url
    )


def _private_postgres(
    supervisor: Supervisor, installation: Installation
) -> tuple[str, str]:
    # Somebody's settings for another PostgreSQL would bend the connections to ours.
    for name in [name for name in os.environ if name.startswith("PG")]:
        del os.environ[name]
    cluster = make_cluster(
        installation.state / "postgres",
        sockets=keep_socket_folder(installation.state),
        account_name=installation.account_name,
        lasting=installation.lasting,
    )
    supervisor.start(
        Service(
            name="postgres",
            command=cluster.command(),
            env=os.environ,
            stop_signal=signal.SIGINT,
            stop_within_s=60,
        )
    )
    supervisor.wait_for("postgres", lambda: _answers(cluster))
    provision(cluster, installation.passwords)
    return (
        cluster.url(SITE, installation.passwords["site_password"]),
        cluster.url(OWNER, installation.passwords["owner_password"]),
    )


def _answers(cluster: Cluster) -> bool:
    try:
        with cluster.as_superuser():
            return True
    except psycopg.OperationalError:
        return False


def _private_redis(supervisor: Supervisor, state: Path) -> str:
    server = make_redis(state, keep_socket_folder(state))
    supervisor.start(Service(name="redis", command=server.command(), env=os.environ))
    supervisor.wait_for("redis", server.answers)
    return server.url
