"""Install what is missing through apt: only that, and only if something is."""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from deploy.steps.commands import output_of, run
from deploy.steps.say import StepError, say

# An ordinary user's PATH may lack the folders where servers are installed.
SEARCHED = f"{os.environ.get('PATH', '')}:/usr/local/sbin:/usr/sbin:/usr/bin:/sbin:/bin"
POSTGRES_HOME = Path("/usr/lib/postgresql")
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome")


@dataclass(frozen=True, kw_only=True)
class Needs:
    """Which of the services and tools a command is to use."""

    postgres: bool = True
    redis: bool = True
    checks: bool = False


def find_program(*names: str) -> Path | None:
    """Give the first of the programs that is installed."""
    for name in names:
        if found := shutil.which(name, path=SEARCHED):
            return Path(found)
    return None


def postgres_majors() -> list[int]:
    """Give the installed PostgreSQL versions that have PostGIS, newest first."""
    found = [
        int(folder.name)
        for folder in POSTGRES_HOME.glob("*")
        if folder.name.isdigit()
        and (folder / "bin" / "initdb").exists()
        and has_postgis(int(folder.name))
    ]
    return sorted(found, reverse=True)


def has_postgis(major: int) -> bool:
    """Tell whether this PostgreSQL version has PostGIS."""
    control = f"/usr/share/postgresql/{major}/extension/postgis.control"
    return Path(control).exists()


def install_missing(needs: Needs, python_package: str | None) -> None:
    """Bring in missing packages; apt may start services of its own, never ours."""
    wanted = missing_packages(needs)
    if python_package:
        wanted.append(python_package)
    if not wanted:
        return
    apt = find_program("apt-get")
    if apt is None:
        raise StepError(
            "Missing on this machine: " + ", ".join(wanted) + ". They are installed"
            " through apt (Debian 12, current Ubuntu), which this machine lacks:"
            " install them by hand and run this again."
        )
    prefix = _as_root(wanted)
    if output_of(["dpkg", "--audit"]):
        run(
            [*prefix, "dpkg", "--configure", "-a"],
            failing="An earlier installation was broken off, and dpkg cannot end it.",
            unbroken=True,
        )
    say("Updating apt's lists.")
    _update(prefix, apt)
    if "postgresql" in wanted:
        wanted += _postgis_of_default()
    say(f"Installing {' '.join(wanted)} (a minute or two).")
    run(
        [
            *(*prefix, apt, "-o", "DPkg::Lock::Timeout=300", "install", "--yes"),
            *("--no-install-recommends", *wanted),
        ],
        failing=(
            f"apt could not install {' '.join(wanted)}; its words are above. On Ubuntu"
            " these need the component universe (sudo add-apt-repository universe)."
        ),
        unbroken=True,
    )
    if left := missing_packages(needs):
        raise StepError(
            f"apt installed everything, yet {', '.join(left)} cannot be found."
        )


def missing_packages(needs: Needs) -> list[str]:
    """Name the apt packages for what is not there."""
    wanted = []
    if needs.postgres and not postgres_majors():
        wanted.append("postgresql")
    if needs.redis and not find_redis():
        wanted.append("redis-server")
    if not find_program("ogrinfo"):
        wanted.append("gdal-bin")
    if needs.checks:
        if not find_program("shellcheck"):
            wanted.append("shellcheck")
        if not find_chromium():
            wanted.append("chromium")
        # Reads the labels' QR codes, as somebody else's program does.
        if not find_program("zbarimg"):
            wanted.append("zbar-tools")
    return wanted


def find_redis() -> Path | None:
    """Give the Redis server's program."""
    return find_program("redis-server", "valkey-server")


def find_chromium() -> Path | None:
    """Give the browser for the tests."""
    if given := os.environ.get("WASHBOARD_CHROMIUM"):
        return Path(given)
    return find_program(*CHROMIUM_NAMES)


def _as_root(wanted: Sequence[str]) -> list[str | Path]:
    # needrestart, on Ubuntu, would restart services that are none of our business.
    settings = ["env", "DEBIAN_FRONTEND=noninteractive", "NEEDRESTART_SUSPEND=1"]
    if os.geteuid() == 0:
        return [*settings]
    sudo = find_program("sudo")
    if sudo is None:
        raise StepError(
            f"Missing on this machine: {', '.join(wanted)}. Installing needs root or"
            " sudo, and there is no sudo. As root: apt-get install " + " ".join(wanted)
        )
    if output_of([sudo, "-n", "true"]) is None and not _asked_for_password(sudo):
        raise StepError(
            f"Missing on this machine: {', '.join(wanted)}. sudo was refused. Ask an"
            " administrator to run: apt-get install " + " ".join(wanted)
        )
    return [sudo, *settings]


def _asked_for_password(sudo: Path) -> bool:
    """Let sudo ask, where there is somebody to answer."""
    if not sys.stdin or not sys.stdin.isatty():
        return False
    say("sudo may ask for your password, to install packages.")
    return subprocess.call([sudo, "-v"]) == 0  # noqa: S603 - our own command


def _update(prefix: Sequence[str | Path], apt: Path) -> None:
    try:
        run([*prefix, apt, "update"], failing="apt-get update failed.", unbroken=True)
    except StepError as error:
        # One unreachable source of many: what we need may still be found.
        say("\n".join(error.words))
        say(f"{error} Going on with the lists that are there.")


def _postgis_of_default() -> list[str]:
    """Name PostgreSQL's default version here, and PostGIS for it."""
    shown = output_of(["apt-cache", "depends", "postgresql"]) or ""
    majors = re.findall(r"Depends: postgresql-(\d+)", shown)
    if not majors:
        raise StepError(
            "apt knows no package postgresql. Look at /etc/apt/sources.list, run"
            " apt-get update, and try again."
        )
    return [f"postgresql-{majors[0]}-postgis-3"]
