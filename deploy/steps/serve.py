"""`deploy/start`, second part: bring everything up, and keep it up until Ctrl-C."""

import argparse
import os
import pwd
import socket
from collections.abc import Callable

from deploy.steps.given import own_services
from deploy.steps.places import CHECKOUT, Places, places_to_start
from deploy.steps.ports import address_of
from deploy.steps.processes import Supervisor
from deploy.steps.say import Stopped, main, say
from deploy.steps.services import Installation, bring_up
from deploy.steps.serving import Serving
from deploy.steps.settings import keep_environment, site_environment
from deploy.steps.site import demo_logins, prepare_site, start_site
from deploy.steps.state import keep_secrets


def arguments() -> argparse.Namespace:
    """Read what the first part hands over."""
    parser = argparse.ArgumentParser(prog="deploy/start")
    parser.add_argument("--listening", type=int, required=True)
    parser.add_argument("--demo", action=argparse.BooleanOptionalAction, required=True)
    parser.add_argument("--tls", action="store_true")
    parser.add_argument("--name", action="append", default=[])
    return parser.parse_args()


def work() -> int:
    """Bring up, announce, watch; stop everything on the way out, whatever happens."""
    asked = arguments()
    places = places_to_start()
    supervisor = Supervisor(state=places.state, folder=CHECKOUT)
    supervisor.catch_signals()
    listening = socket.socket(fileno=asked.listening)
    try:
        look = _bring_up(supervisor, places, listening, asked)
        return _stay(supervisor, look)
    finally:
        supervisor.stop()
        listening.close()


def _stay(supervisor: Supervisor, look: Callable[[], tuple[str, ...]]) -> int:
    try:
        supervisor.watch(look)
    except Stopped:
        # Stopping a site that runs is its proper end.
        return 0


def _bring_up(
    supervisor: Supervisor,
    places: Places,
    listening: socket.socket,
    asked: argparse.Namespace,
) -> Callable[[], tuple[str, ...]]:
    secrets = keep_secrets(places.state)
    serving = Serving(places.state, listening, asked.name) if asked.tls else None
    addresses = bring_up(
        supervisor,
        Installation(
            state=places.state,
            account_name=pwd.getpwuid(os.getuid()).pw_name,
            passwords=secrets,
        ),
        own_services(),
    )
    env = site_environment(
        state=places.state,
        site_url=serving.url if serving else address_of(listening),
        services=addresses.site,
        secret_key=secrets["WASHBOARD_SECRET_KEY"],
        tls=serving.settings() if serving else None,
    )
    keep_environment(places.state, env, addresses.owner_url)
    prepare_site(
        supervisor, places, env, owner_url=addresses.owner_url, demo=asked.demo
    )
    tls = serving.tls if serving else None
    pulse = start_site(supervisor, places, env, listening=listening, tls=tls)
    _announce(places, env["WASHBOARD_SITE_URL"], serving, demo=asked.demo)

    def look() -> tuple[str, ...]:
        if serving:
            serving.look()
        return pulse.stuck_services()

    return look


def _announce(
    places: Places, site_url: str, serving: Serving | None, *, demo: bool
) -> None:
    say(f"\nWashboard is up: {site_url}")
    for line in serving.words() if serving else ():
        say(line)
    logins = demo_logins(places.state) if demo else []
    if logins:
        say("\nSign in as one of the invented people:")
        for line in logins:
            say(line)
        say(f"\nA fresh count sheet to upload: {places.state / 'fresh-sheet.csv'}")
    say(f"Logs: {places.logs}\nCtrl-C stops everything that was started here.")


if __name__ == "__main__":
    main("deploy/start", work)
