"""`deploy/manage`: the site's management commands, set up as deploy/start does."""

import os
import sys

from deploy.steps.accounts import become, choose_account
from deploy.steps.given import OWNER_URL
from deploy.steps.places import CHECKOUT, places_to_start
from deploy.steps.say import StepError, main
from deploy.steps.settings import ENVIRONMENT
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
    command = sys.argv[1:]
    if not set(command[:1]) & set(OWNERS_COMMANDS):
        kept.pop(OWNER_URL, None)
    become(account, places.state)
    # New files must be the site's to read, and nobody else's.
    os.umask(0o077)
    os.environ.update(kept)
    python = str(places.python)
    os.execv(python, [python, str(CHECKOUT / "manage.py"), *command])  # noqa: S606 - our own program, no shell


if __name__ == "__main__":
    main("deploy/manage", work)
