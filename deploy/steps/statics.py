"""Gather the pages' static files, if any of them changed."""

import hashlib
from collections.abc import Mapping
from pathlib import Path

from deploy.steps.environment import STAMP
from deploy.steps.places import CHECKOUT, Places
from deploy.steps.processes import Supervisor
from deploy.steps.say import say
from deploy.steps.state import read_json, write_json

RECORD = "gathered.json"


def gather_static_files(
    supervisor: Supervisor, places: Places, env: Mapping[str, str]
) -> None:
    """Gather and compress them: many seconds of work, so only after a change."""
    record = places.state / RECORD
    wanted = {"static": digest_of_static_files(CHECKOUT, places.environment / STAMP)}
    if (places.state / "static").is_dir() and read_json(record) == wanted:
        return
    say("Gathering the pages' static files.")
    record.unlink(missing_ok=True)
    supervisor.run(
        [
            *(places.python, CHECKOUT / "manage.py", "collectstatic"),
            *("--no-input", "--clear", "--verbosity", "0"),
        ],
        env=env,
        failing="The pages' static files could not be gathered.",
    )
    write_json(record, wanted)


def digest_of_static_files(checkout: Path, environment_stamp: Path) -> str:
    """Give the digest of all that goes in: our files, the libraries', and the how."""
    files = sorted(
        file
        for folder in checkout.glob("*/static")
        for file in folder.rglob("*")
        if file.is_file()
    )
    settings = checkout / "deploy" / "project"
    digest = hashlib.sha256()
    for file in (*files, settings / "static.py", environment_stamp):
        digest.update(f"{file.relative_to(checkout)}\n".encode())
        digest.update(hashlib.sha256(file.read_bytes()).digest())
    return digest.hexdigest()
