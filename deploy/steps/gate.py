"""`deploy/check`, second part: every check in turn, with services for the tests."""

import os
import pwd
import shlex
import shutil
import subprocess
import time
from collections.abc import Mapping

from deploy.steps.check import arguments
from deploy.steps.checks import (
    Check,
    cache_settings,
    checks_of_code,
    checks_with_services,
)
from deploy.steps.given import OWNER_URL, OwnServices
from deploy.steps.packages import find_chromium
from deploy.steps.places import CHECKOUT, Places, places_to_check
from deploy.steps.processes import Supervisor
from deploy.steps.say import Stopped, main, say
from deploy.steps.services import Addresses, Installation, bring_up
from deploy.steps.settings import site_environment
from deploy.steps.state import PRIVATE_FILE, keep_secrets

NO_SERVICES = Addresses(site={}, owner_url="")
PRIVATE = OwnServices(site_url=None, owner_url=None, redis_url=None)
STOP_WITHIN_S = 15


def work() -> int:
    """Run what was asked for; stop the services on the way out, whatever happens."""
    asked, for_pytest = arguments()
    places = places_to_check()
    supervisor = Supervisor(state=places.state, folder=CHECKOUT)
    supervisor.catch_signals()
    data = places.state / "postgres"
    results: dict[str, str] = {}

    def run_all(checks: list[Check], env: Mapping[str, str]) -> None:
        for check in checks:
            results[check.name] = run_check(check, env)

    try:
        if not (for_pytest or asked.keep):
            run_all(checks_of_code(places.python), _environment(places, NO_SERVICES))
        if not asked.fast:
            shutil.rmtree(data, ignore_errors=True)
            env = _environment(places, _services(supervisor, places))
            if asked.keep:
                return _keep(supervisor, places, env)
            run_all(checks_with_services(places, for_pytest), env)
    finally:
        supervisor.stop()
        shutil.rmtree(data, ignore_errors=True)
    return summary(results)


def run_check(check: Check, env: Mapping[str, str]) -> str:
    """Run one check with its words shown; give its result in a few words."""
    say(f"\n=== {check.name}")
    started = time.monotonic()
    process = subprocess.Popen(  # noqa: S603 - our own commands, no shell
        check.command,
        stdin=subprocess.DEVNULL,
        env={**env, **check.env},
        cwd=CHECKOUT,
    )
    try:
        code = process.wait()
    except Stopped:
        process.terminate()
        try:
            process.wait(STOP_WITHIN_S)
        except subprocess.TimeoutExpired:
            process.kill()
        raise
    took = f"{time.monotonic() - started:.0f} s"
    return f"passed in {took}" if code == 0 else f"FAILED with code {code} in {took}"


def summary(results: Mapping[str, str]) -> int:
    """Print one line a check, and give the command's exit code."""
    say("\n=== summary")
    for name, result in results.items():
        say(f"{name:<24} {result}")
    failed = [name for name, result in results.items() if result.startswith("FAILED")]
    say(f"\nFailed: {', '.join(failed)}." if failed else "\nEverything passed.")
    return 1 if failed else 0


def _services(supervisor: Supervisor, places: Places) -> Addresses:
    say("\n=== services for the tests")
    return bring_up(
        supervisor,
        Installation(
            state=places.state,
            account_name=pwd.getpwuid(os.getuid()).pw_name,
            passwords=keep_secrets(places.state),
            lasting=False,
        ),
        PRIVATE,
    )


def _environment(places: Places, addresses: Addresses) -> dict[str, str]:
    for name in [name for name in os.environ if name.startswith("WASHBOARD_")]:
        # Settings of a site in use have no place in its tests.
        if name != "WASHBOARD_CHROMIUM":
            del os.environ[name]
    env = site_environment(
        state=places.state,
        site_url="http://127.0.0.1:8000",
        services=addresses.site,
        secret_key=keep_secrets(places.state)["WASHBOARD_SECRET_KEY"],
    )
    env |= cache_settings(places.state / "cache")
    if addresses.owner_url:
        env[OWNER_URL] = addresses.owner_url
    if chromium := find_chromium():
        env["WASHBOARD_CHROMIUM"] = str(chromium)
    return env


def _keep(supervisor: Supervisor, places: Places, env: Mapping[str, str]) -> int:
    file = places.state / "environment"
    file.touch(PRIVATE_FILE)
    file.write_text(
        "".join(
            f"export {name}={shlex.quote(value)}\n"
            for name, value in env.items()
            if os.environ.get(name) != value
        )
    )
    say(
        "PostgreSQL and Redis are up. In another terminal:\n"
        f"  . {shlex.quote(str(file))}\n"
        f"  {shlex.quote(str(places.python))} -m pytest tests/blocks\n"
        "Ctrl-C stops them."
    )
    try:
        supervisor.watch(tuple)
    except Stopped:
        return 0


if __name__ == "__main__":
    main("deploy/check", work)
