"""The first part of a command: everything that may need root, then no more root."""

import os
import signal
import sys
from dataclasses import dataclass

from deploy.steps.accounts import (
    Account,
    become,
    choose_account,
    require_entry,
    require_reading,
)
from deploy.steps.environment import make_environment
from deploy.steps.interpreter import choose_interpreter, require_interpreter
from deploy.steps.packages import Needs, install_missing
from deploy.steps.places import CHECKOUT, Places
from deploy.steps.processes import RECORD, stop_leftovers
from deploy.steps.say import STOP_SIGNALS
from deploy.steps.state import lock, make_state_folder

# What the site and its tests read of the checkout.
READ = ("manage.py", "alerts", "blocks", "deploy", "fixtures", "monitoring", "tests")


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A state folder that is this command's until it ends."""

    places: Places
    account: Account


def take_folder(places: Places, *, already: str) -> Taken:
    """Choose the account and lock the state folder for it."""
    os.umask(0o022)
    account = choose_account(CHECKOUT, places.state)
    require_entry(account, CHECKOUT)
    require_reading(account, [CHECKOUT / name for name in READ])
    make_state_folder(places.state, account)
    require_entry(account, places.state)
    # The lock is the kernel's: it lasts until this process ends, through hand_over.
    os.set_inheritable(lock(places.state, account, already=already), True)  # noqa: FBT003 - the library's signature
    # They would hold the port, and a package's update under them would hurt.
    stop_leftovers(places.state / RECORD, account)
    return Taken(places=places, account=account)


def install(taken: Taken, needs: Needs) -> None:
    """Bring in missing packages and make the Python environment."""
    _, lacking = choose_interpreter(taken.account)
    install_missing(needs, lacking)
    python = require_interpreter(taken.account)
    make_environment(taken.places, python, taken.account)


def hand_over(taken: Taken, module: str, arguments: list[str]) -> None:
    """Become the account and go on in its Python environment, as the same process."""
    os.umask(0o077)
    become(taken.account, taken.places.state)
    os.environ["PYTHONPATH"] = str(CHECKOUT)
    sys.stdout.flush()
    # Between the two parts nobody listens; `main` of the second takes them up again.
    signal.pthread_sigmask(signal.SIG_BLOCK, STOP_SIGNALS)
    python = str(taken.places.python)
    os.execv(python, [python, "-P", "-m", module, *arguments])  # noqa: S606 - our own program, no shell
