"""`deploy/manage`: the site's management commands, set up as deploy/start does."""

import os
import sys
from pathlib import Path
from urllib.parse import quote

from deploy.steps.accounts import become, choose_account
from deploy.steps.given import OWNER_URL, SITE_URL
from deploy.steps.places import CHECKOUT, places_to_start
from deploy.steps.say import StepError, main
from deploy.steps.settings import ENVIRONMENT
from deploy.steps.sockets import POSTGRES_SOCKET, RECORD
from deploy.steps.state import read_json

# Commands that change tables, and so run as their owner.
OWNERS_COMMANDS = ("prepare_database",)


def work() -> int:
    """Become the account that runs the site, and then the command."""
    places = places_to_start()
    account = choose_account(CHECKOUT, places.state)
    kept = read_json(places.state / ENVIRONMENT)
    if not kept or not places.python.exists():
        raise StepError("Nothing was set up here yet. Run deploy/start first.")
    refuse_without_database(places.state, kept)
    command = sys.argv[1:]
    if not set(command[:1]) & set(OWNERS_COMMANDS):
        kept.pop(OWNER_URL, None)
    become(account, places.state)
    # New files must be the site's to read, and nobody else's.
    os.umask(0o077)
    os.environ.update(kept)
    python = str(places.python)
    os.execv(python, [python, str(CHECKOUT / "manage.py"), *command])  # noqa: S606 - our own program, no shell


def refuse_without_database(state: Path, kept: dict[str, str]) -> None:
    """Stop if the private PostgreSQL, where that is used, is not running."""
    folder = read_json(state / RECORD).get("socket_folder", "")
    private = bool(folder) and quote(folder, safe="") in kept.get(SITE_URL, "")
    if private and not (Path(folder) / POSTGRES_SOCKET).exists():
        raise StepError(
            "The private PostgreSQL is not running. Leave deploy/start running in"
            " another terminal, and try again."
        )


if __name__ == "__main__":
    main("deploy/manage", work)
