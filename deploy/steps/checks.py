"""The checks of the gate, in the order in which they are run."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from deploy.steps.places import CHECKOUT, Places

MANAGE = CHECKOUT / "manage.py"
APPS = ("blocks", "monitoring", "alerts", "deploy")
# Two cores are what the gate has to run on.
TEST_PROCESSES = "2"
PRODUCTION = {
    "WASHBOARD_SITE_URL": "https://washboard.example.org",
    "WASHBOARD_ALLOWED_HOSTS": "washboard.example.org",
    "WASHBOARD_EMAIL_URL": "smtp://mail.example.org:587?tls=1",
}


@dataclass(frozen=True, kw_only=True)
class Check:
    """A command that must end with code 0."""

    name: str
    command: Sequence[str | Path]
    env: Mapping[str, str] = field(default_factory=dict)


def checks_of_code(python: Path) -> list[Check]:
    """Give the checks that need no services."""
    module = (python, "-m")
    return [
        Check(name="ruff check", command=[*module, "ruff", "check", "."]),
        Check(name="ruff format", command=[*module, "ruff", "format", "--check", "."]),
        Check(name="types", command=[*module, "mypy", "--explicit-package-bases", "."]),
        Check(
            name="import rules",
            command=[python, "-c", LINT_IMPORTS, "--no-cache", "--no-logo"],
        ),
        Check(
            name="templates",
            command=[*module, "djlint", "--quiet", "--lint", *APPS],
        ),
        Check(name="shell scripts", command=["shellcheck", *shell_scripts()]),
        Check(name="lock files", command=[*module, "deploy.steps.locks", "--check"]),
        Check(
            name="settings for production",
            command=[python, MANAGE, "check", "--deploy", "--fail-level", "WARNING"],
            env=PRODUCTION,
        ),
    ]


# The package has a command of this name, but no module to run.
LINT_IMPORTS = (
    "import sys; from importlinter.cli import lint_imports_command as c; sys.exit(c())"
)


def checks_with_services(places: Places, for_pytest: Sequence[str]) -> list[Check]:
    """Give the checks that need a database; with arguments, just the tests named."""
    cache = places.state / "cache" / "pytest"
    migrations = Check(
        name="migrations",
        command=[places.python, MANAGE, "makemigrations", "--check", "--dry-run"],
    )
    tests = Check(
        name="tests",
        command=[
            *(places.python, "-m", "pytest", "-o", f"cache_dir={cache}"),
            # Hypothesis' own profile for gates: the same examples each time, none kept.
            "--hypothesis-profile=ci",
            # One file, one process: the demo, say, is loaded once and not twice.
            *(for_pytest or ("-n", TEST_PROCESSES, "--dist", "loadfile")),
        ],
    )
    return [tests] if for_pytest else [migrations, tests]


def shell_scripts() -> list[Path]:
    """Find the project's shell scripts by their first line."""
    found = [*CHECKOUT.glob("deploy/*"), *CHECKOUT.glob("deploy/steps/*")]
    found += CHECKOUT.glob(".ci/*")
    return sorted(
        file
        for file in found
        if file.is_file() and file.read_bytes()[:20].startswith(b"#!/usr/bin/env bash")
    )


def cache_settings(cache: Path) -> dict[str, str]:
    """Keep the tools' caches out of the checkout, which may be another's."""
    return {
        "RUFF_CACHE_DIR": str(cache / "ruff"),
        "MYPY_CACHE_DIR": str(cache / "mypy"),
        "COVERAGE_FILE": str(cache / "coverage"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
