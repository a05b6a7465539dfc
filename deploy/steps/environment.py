"""Make the Python environment from the locked requirements, if they changed."""

import hashlib
import json
import os
from pathlib import Path

from deploy.steps.accounts import Account
from deploy.steps.commands import run
from deploy.steps.interpreter import Interpreter
from deploy.steps.places import CHECKOUT, Places
from deploy.steps.say import say

STAMP = "washboard.json"


def make_environment(places: Places, python: Interpreter, account: Account) -> None:
    """Bring the environment in step with the lock files and the chosen Python."""
    stamp = places.environment / STAMP
    wanted = wanted_stamp(places, python)
    if _read(stamp) == wanted:
        return
    builder = _builder(account)
    env = _environment(builder)
    say(f"Making the Python environment {places.environment.name} (a minute or two).")
    run(
        [python.program, "-m", "venv", "--clear", places.environment],
        failing="The Python environment could not be made; the words above say why.",
        env=env,
        account=builder,
    )
    files = [part for name in places.requirements for part in ("-r", CHECKOUT / name)]
    run(
        [
            *(places.python, "-m", "pip", "install", "--require-hashes", "--no-input"),
            *("--disable-pip-version-check", "--progress-bar=off", *files),
        ],
        failing=(
            "The locked requirements could not be installed; pip's words are above."
            " Without a connection to the package index, try again later: nothing is"
            " lost."
        ),
        env=env,
        account=builder,
    )
    _write(stamp, wanted, builder)


def wanted_stamp(places: Places, python: Interpreter) -> dict[str, str]:
    """Say what the environment must have been made of."""
    digest = hashlib.sha256()
    for name in places.requirements:
        digest.update((CHECKOUT / name).read_bytes())
    return {
        "requirements": digest.hexdigest(),
        "python": str(python.program),
        "version": ".".join(map(str, python.version)),
        # Scripts in the environment hold its path: a moved checkout needs a new one.
        "folder": str(places.environment),
    }


def _builder(account: Account) -> Account | None:
    """Build as the checkout's owner, so that they can rebuild without root later."""
    return account if CHECKOUT.stat().st_uid == account.uid else None


def _environment(builder: Account | None) -> dict[str, str]:
    env = {name: value for name, value in os.environ.items() if name[:6] != "PYTHON"}
    if builder is not None and not builder.is_me:
        env |= {"HOME": str(builder.home), "USER": builder.name}
    return env


def _read(stamp: Path) -> dict[str, str] | None:
    try:
        found = json.loads(stamp.read_text())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None


def _write(stamp: Path, wanted: dict[str, str], builder: Account | None) -> None:
    stamp.write_text(json.dumps(wanted, indent=1))
    if builder is not None:
        os.chown(stamp, builder.uid, builder.gid)
