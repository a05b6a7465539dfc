"""Remember between starts: small JSON files, written whole or not at all."""

import fcntl
import json
import os
import secrets
from pathlib import Path

from deploy.steps.accounts import Account
from deploy.steps.say import StepError

PRIVATE_FOLDER = 0o700
PRIVATE_FILE = 0o600
SECRETS = {
    "WASHBOARD_SECRET_KEY": 64,
    "owner_password": 32,
    "site_password": 32,
}


def make_state_folder(folder: Path, account: Account) -> None:
    """Make the folder for data and logs, closed to everybody but the account."""
    if folder.is_symlink() and not folder.exists():
        raise StepError(f"{folder} is a link to a folder that is not there.")
    missing = [step for step in (folder, *folder.parents) if not step.exists()]
    for step in reversed(missing):
        step.mkdir(mode=PRIVATE_FOLDER)
        os.chown(step, account.uid, account.gid)
    if not folder.is_dir():
        raise StepError(f"{folder} is in the way: it is a file, not a folder.")
    if folder.stat().st_uid != account.uid:
        raise StepError(
            f"{folder} does not belong to {account.name}, which runs everything. Give"
            f" it back with chown -R {account.name} '{folder}', or move it away."
        )


def lock(state: Path, account: Account, *, already: str) -> int:
    """Take the folder for this process; stop with `already` if another holds it.

    The lock is the kernel's and ends with the process, however that ends. It is given
    as a file number, to be handed on when the second part takes over.
    """
    flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW
    number = os.open(state / "lock", flags, PRIVATE_FILE)
    try:
        fcntl.flock(number, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = os.read(number, 200).decode(errors="replace").strip()
        os.close(number)
        raise StepError(
            f"{already} (process {holder or 'unknown'}). Stop it with Ctrl-C in its"
            f" terminal{f' or with kill {holder}' if holder else ''}, then try again."
        ) from None
    os.fchown(number, account.uid, account.gid)
    os.ftruncate(number, 0)
    os.write(number, f"{os.getpid()}\n".encode())
    return number


def read_json(file: Path) -> dict[str, str]:
    """Read a small file of names and values; a missing one is empty."""
    try:
        found = json.loads(file.read_text())
    except FileNotFoundError:
        return {}
    except ValueError as error:
        raise StepError(
            f"{file} is damaged ({error}). Delete it and start again: what it holds is"
            " made anew, and no data are lost."
        ) from error
    return {str(name): str(value) for name, value in found.items()}


def write_json(file: Path, values: dict[str, str]) -> None:
    """Write the values so that a crash leaves the old ones or the new ones."""
    write_private(file, json.dumps(values, indent=1).encode())


def write_private(file: Path, content: bytes) -> None:
    """Write a file for this account only; a crash leaves the old one or the new one."""
    new = file.with_name(f"{file.name}.new")
    new.unlink(missing_ok=True)
    number = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_FILE)
    with os.fdopen(number, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    new.replace(file)


def keep_secrets(state: Path) -> dict[str, str]:
    """Give this installation's passwords and key, made at random the first time."""
    file = state / "secrets.json"
    kept = read_json(file)
    missing = {
        name: secrets.token_urlsafe(size)
        for name, size in SECRETS.items()
        if not kept.get(name)
    }
    if missing:
        kept |= missing
        write_json(file, kept)
    return kept
