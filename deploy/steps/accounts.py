"""Choose the account that runs everything, and check that it can read the checkout."""

import grp
import os
import pwd
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

from deploy.steps.say import StepError, say

SYSTEM_ACCOUNT = "washboard"
ROOT = 0


class Identity(TypedDict, total=False):
    """What `subprocess` needs to run a program as another account."""

    user: int
    group: int
    extra_groups: list[int]


@dataclass(frozen=True, kw_only=True)
class Account:
    """A user of this machine that is not root."""

    name: str
    uid: int
    gid: int
    home: Path

    @property
    def is_me(self) -> bool:
        """Tell whether this process already runs as the account."""
        return os.geteuid() == self.uid


def identity(account: Account | None) -> Identity:
    """Give the arguments that make `subprocess` switch to the account, if it must."""
    if account is None or account.is_me:
        return {}
    return {
        "user": account.uid,
        "group": account.gid,
        "extra_groups": os.getgrouplist(account.name, account.gid),
    }


def account_for(uid: int) -> Account | None:
    """Give the account with this number; None for root and for unknown numbers."""
    try:
        entry = pwd.getpwuid(uid)
    except KeyError:
        return None
    if uid == ROOT:
        return None
    return Account(
        name=entry.pw_name, uid=uid, gid=entry.pw_gid, home=Path(entry.pw_dir)
    )


def choose_account(checkout: Path, state: Path) -> Account:
    """Give who runs PostgreSQL, Redis and the site.

    An ordinary user runs them as themselves. PostgreSQL refuses to run as root, so
    root hands them to the owner of what is there already, else of the checkout, else
    to a system account of its own.
    """
    me = os.geteuid()
    if me != ROOT:
        account = account_for(me)
        if account is None:
            raise StepError(
                f"User number {me} has no name on this machine, and PostgreSQL refuses"
                " to run without one. Run this as a user listed in /etc/passwd."
            )
        _refuse_anothers(state, account)
        return account
    for folder in (_nearest(state), checkout):
        if owner := account_for(folder.stat().st_uid):
            return owner
    return _system_account()


def _refuse_anothers(state: Path, account: Account) -> None:
    folder = _nearest(state)
    owner = folder.stat().st_uid
    if owner != account.uid and not os.access(folder, os.W_OK | os.X_OK):
        raise StepError(
            f"{folder} belongs to {_name_of(owner)}, and {account.name} may not write"
            f" there. Run this as {_name_of(owner)} or as root, or give the folder to"
            f" yourself with sudo chown -R {account.name} '{folder}'"
        )


def _nearest(folder: Path) -> Path:
    """Give the folder, or the nearest above it that can be seen from here."""
    for step in (folder, *folder.parents):
        try:
            step.stat()
        except (FileNotFoundError, PermissionError):
            continue
        return step
    return Path("/")


def _name_of(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return str(uid)


def _system_account() -> Account:
    try:
        entry = pwd.getpwnam(SYSTEM_ACCOUNT)
    except KeyError:
        say(f"Making the system account {SYSTEM_ACCOUNT}, which will run everything.")
        command = ["useradd", "--system", "--user-group", "--no-create-home"]
        command += ["--home-dir", "/nonexistent", "--shell", "/usr/sbin/nologin"]
        try:
            grp.getgrnam(SYSTEM_ACCOUNT)
        except KeyError:
            pass
        else:
            command.remove("--user-group")
            command += ["--gid", SYSTEM_ACCOUNT]
        done = subprocess.run(  # noqa: S603 - our own command, no shell
            [*command, SYSTEM_ACCOUNT], capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise StepError(
                f"The system account {SYSTEM_ACCOUNT} could not be made:"
                f" {done.stderr.strip()}"
            ) from None
        entry = pwd.getpwnam(SYSTEM_ACCOUNT)
    account = account_for(entry.pw_uid)
    if account is None:
        raise StepError(
            f"The account {SYSTEM_ACCOUNT} has root's number; PostgreSQL refuses to run"
            " as root. Remove that account or give the checkout to another user."
        )
    return account


def require_entry(account: Account, folder: Path) -> None:
    """Stop if the account cannot enter the folder, naming the folder that bars it."""
    for step in [*reversed(folder.parents), folder]:
        if not _may_enter(account, step):
            raise StepError(
                f"The account {account.name}, which runs PostgreSQL and the site,"
                f" cannot enter the folder {step}. Either move the checkout to where"
                f" everybody may look, such as /opt or /srv, or allow entering with"
                f" chmod o+x '{step}'"
            )


def require_reading(account: Account, places: list[Path]) -> None:
    """Stop if the account cannot read one of the files, at whatever depth."""
    skip = ["-name", "__pycache__", "-prune", "-o"]
    closed = ["(", "!", "-readable", "-o", "-type", "d", "!", "-executable", ")"]
    done = subprocess.run(  # noqa: S603 - our own command, no shell
        ["/usr/bin/find", *places, *skip, *closed, "-print", "-quit"],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        check=False,
        text=True,
        cwd="/",
        **identity(account),
    )
    if found := done.stdout.strip():
        raise StepError(
            f"The account {account.name}, which runs the site, cannot read {found}."
            f" Allow it with chmod -R o+rX '{places[0].parent}'"
        )


def _may_enter(account: Account, folder: Path) -> bool:
    if account.is_me:
        return os.access(folder, os.X_OK)
    done = subprocess.run(  # noqa: S603 - our own command, no shell
        ["/usr/bin/test", "-x", folder], check=False, cwd="/", **identity(account)
    )
    return done.returncode == 0


def become(account: Account, home: Path) -> None:
    """Give up being root for good; `home` serves an account that has none."""
    if not account.is_me:
        os.initgroups(account.name, account.gid)
        os.setgid(account.gid)
        os.setuid(account.uid)
        os.environ["HOME"] = str(account.home if account.home.is_dir() else home)
        os.environ["USER"] = os.environ["LOGNAME"] = account.name
        # The caller's session belongs to the caller.
        for name in ("XDG_RUNTIME_DIR", "XDG_CACHE_HOME", "XDG_CONFIG_HOME"):
            os.environ.pop(name, None)
