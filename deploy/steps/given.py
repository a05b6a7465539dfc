"""Read which services the person brings along."""

import os
from collections.abc import Mapping
from dataclasses import dataclass

from deploy.steps.say import StepError

SITE_URL = "WASHBOARD_DATABASE_URL"
OWNER_URL = "WASHBOARD_OWNER_DATABASE_URL"
REDIS_URL = "WASHBOARD_REDIS_URL"


@dataclass(frozen=True, kw_only=True)
class OwnServices:
    """The addresses that the person gave; None where a private service is wanted."""

    site_url: str | None
    owner_url: str | None
    redis_url: str | None


def own_services(environ: Mapping[str, str] = os.environ) -> OwnServices:
    """Read which services the person brings; half a pair is refused."""
    site, owner = environ.get(SITE_URL), environ.get(OWNER_URL)
    if bool(site) != bool(owner):
        given, lacking = (SITE_URL, OWNER_URL) if site else (OWNER_URL, SITE_URL)
        raise StepError(
            f"{given} is set and {lacking} is not. A database of your own needs both:"
            f" the site connects as a role that owns nothing ({SITE_URL}), migrations"
            f" run as the owner of the tables ({OWNER_URL}). deploy/runbook.md shows"
            " how to make them. Without either, a private PostgreSQL is made."
        )
    return OwnServices(
        site_url=site or None,
        owner_url=owner or None,
        redis_url=environ.get(REDIS_URL) or None,
    )
