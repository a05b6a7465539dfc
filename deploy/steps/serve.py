"""`deploy/start`, second part: bring everything up, and keep it up until Ctrl-C."""

import argparse
import os
import pwd
import socket

from deploy.steps.given import own_services
from deploy.steps.places import CHECKOUT, Places, places_to_start
from deploy.steps.ports import address_of
from deploy.steps.processes import Supervisor
from deploy.steps.pulse import Pulse
from deploy.steps.say import Stopped, main, say
from deploy.steps.services import Installation, bring_up
from deploy.steps.settings import keep_environment, site_environment
from deploy.steps.site import demo_logins, prepare_site, start_site
from deploy.steps.state import keep_secrets


def arguments() -> argparse.Namespace:
    """Read what the first part hands over."""
    parser = argparse.ArgumentParser(prog="deploy/start")
    parser.add_argument("--listening", type=int, required=True)
    parser.add_argument("--demo", action=argparse.BooleanOptionalAction, required=True)
    return parser.parse_args()


def work() -> int:
    """Bring up, announce, watch; stop everything on the way out, whatever happens."""
    asked = arguments()
    places = places_to_start()
    supervisor = Supervisor(state=places.state, folder=CHECKOUT)
    supervisor.catch_signals()
    listening = socket.socket(fileno=asked.listening)
    try:
        pulse = _bring_up(supervisor, places, listening, demo=asked.demo)
        return _stay(supervisor, pulse)
    finally:
        supervisor.stop()
        listening.close()


def _stay(supervisor: Supervisor, pulse: Pulse) -> int:
    try:
        supervisor.watch(pulse.stuck_services)
    except Stopped:
        # Stopping a site that runs is its proper end.
        return 0


def _bring_up(
    supervisor: Supervisor, places: Places, listening: socket.socket, *, demo: bool
) -> Pulse:
    secrets = keep_secrets(places.state)
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
        site_url=address_of(listening),
        services=addresses.site,
        secret_key=secrets["WASHBOARD_SECRET_KEY"],
    )
    keep_environment(places.state, env, addresses.owner_url)
    prepare_site(supervisor, places, env, owner_url=addresses.owner_url, demo=demo)
    pulse = start_site(supervisor, places, env, listening=listening)
    _announce(places, env["WASHBOARD_SITE_URL"], demo=demo)
    return pulse


def _announce(places: Places, site_url: str, *, demo: bool) -> None:
    say(f"\nWashboard is up: {site_url}")
    logins = demo_logins(places.state) if demo else []
    if logins:
        say("\nSign in as one of the invented people:")
        for line in logins:
            say(line)
        say(f"\nA fresh count sheet to upload: {places.state / 'fresh-sheet.csv'}")
    say(f"Logs: {places.logs}\nCtrl-C stops everything that was started here.")


if __name__ == "__main__":
    main("deploy/start", work)
