"""Put together the variables that the site reads."""

import os
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

from deploy.steps.given import OWNER_URL
from deploy.steps.places import CHECKOUT
from deploy.steps.state import write_json

ENVIRONMENT = "environment.json"


def site_environment(
    *,
    state: Path,
    site_url: str,
    services: dict[str, str],
    secret_key: str,
    tls: dict[str, str] | None = None,
) -> dict[str, str]:
    """Give the whole environment of the site's processes, without the owner's URL.

    What the person set themselves stands, except where a private service is used.
    """
    env = {name: value for name, value in os.environ.items() if _passes(name)}
    env.setdefault("WASHBOARD_SECRET_KEY", secret_key)
    env.setdefault("WASHBOARD_SITE_URL", site_url)
    env.setdefault("WASHBOARD_EMAIL_URL", f"folder://{quote(str(state / 'mail'))}")
    env |= services | (tls or {})
    env |= {
        "WASHBOARD_STATE_DIR": str(state),
        "DJANGO_SETTINGS_MODULE": "deploy.project.settings",
        "PYTHONPATH": str(CHECKOUT),
        "PYTHONUNBUFFERED": "1",
        "LC_ALL": "C.UTF-8",
    }
    env.pop(OWNER_URL, None)
    return env


def _passes(name: str) -> bool:
    """Leave out what would bend Python or the web server behind our back."""
    return not name.startswith(("PYTHON", "GUNICORN_", "CELERY_", "DJANGO_"))


def keep_environment(state: Path, env: Mapping[str, str], owner_url: str) -> None:
    """Write down the site's variables, for `deploy/manage`."""
    ours = {name: value for name, value in env.items() if name[:10] == "WASHBOARD_"}
    write_json(state / ENVIRONMENT, ours | {OWNER_URL: owner_url})
