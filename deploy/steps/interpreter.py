"""Choose the Python that the environment is made of."""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

from deploy.steps.accounts import Account
from deploy.steps.commands import output_of
from deploy.steps.say import StepError

OLDEST = (3, 11)
NAMES = ("python3", "python3.14", "python3.13", "python3.12", "python3.11")
SYSTEM = "/usr/bin/python3"
ASK = (
    "import importlib.util as u, json, os, sys;"
    "print(json.dumps([os.path.realpath(sys.executable), list(sys.version_info[:3]),"
    " all(u.find_spec(n) for n in ('venv', 'ensurepip'))]))"
)


@dataclass(frozen=True, kw_only=True)
class Interpreter:
    """A Python and whether it can make environments."""

    program: Path
    version: tuple[int, int, int]
    makes_environments: bool


def choose_interpreter(account: Account) -> tuple[Interpreter | None, str | None]:
    """Give a Python that the account can run, and the package that it lacks.

    A Python below root's home folder, say, is of no use to an ordinary account; then
    the system's own serves, installed if it must be.
    """
    found = [_look_at(program, account) for program in _candidates()]
    fit = [python for python in found if python and python.version >= OLDEST]
    for python in fit:
        if python.makes_environments:
            return python, None
    if fit:
        major, minor, _ = fit[0].version
        system = str(fit[0].program).startswith(f"/usr/bin/python{major}")
        return fit[0], f"python{major}.{minor}-venv" if system else "python3-venv"
    return None, "python3-venv"


def require_interpreter(account: Account) -> Interpreter:
    """Give the Python to use, once everything is installed."""
    python, lacking = choose_interpreter(account)
    if python is None:
        raise StepError(
            f"No Python {OLDEST[0]}.{OLDEST[1]} or later that the account"
            f" {account.name} can run: looked for {', '.join(NAMES)} on the PATH and"
            f" {SYSTEM}. Install one for everybody (apt-get install python3)."
        )
    if lacking:
        raise StepError(
            f"{python.program} cannot make environments: it lacks the modules venv and"
            f" ensurepip. Install {lacking}."
        )
    return python


def _candidates() -> list[str]:
    found = [path for name in NAMES if (path := shutil.which(name))]
    return list(dict.fromkeys([*found, SYSTEM]))


def _look_at(program: str, account: Account) -> Interpreter | None:
    told = output_of([program, "-I", "-c", ASK], account=account)
    if told is None:
        return None
    path, version, makes = json.loads(told)
    return Interpreter(
        program=Path(path),
        version=(version[0], version[1], version[2]),
        makes_environments=makes,
    )
