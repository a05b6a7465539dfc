"""Every page that a role may open is reached by links from the farm group's page."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import Resolver404, resolve

from tests.builders import World
from tests.tenancy.every_url import ADDRESSES, EVERYONE
from tests.tenancy.full_world import fill

pytestmark = pytest.mark.django_db(databases=["default", "owner"])
LINK = re.compile(r'(?:href|data-refresh)="([^"#]+)')
# The map asks for tiles, a form for labels, and a label's code leads to its bag; the
# others show what this world lacks: a dish counted in part, and a sheet with findings.
ELSEWHERE = {"tile", "labels-pdf", "bag-by-label"} | {
    "tally",
    "sheet-annotated",
    "sheet-findings",
    # Fetched by the bench's page.
    "bench-worker",
    "bench-kit",
    "bench-figure",
    # Pictures that pages show.
    "bench-photo",
    "reference-look",
    "reference-marks",
}
MOST_OF_A_KIND = 6
GOOD = {200, 204, 302}


def _name(path: str) -> str | None:
    try:
        return resolve(path.partition("?")[0]).url_name
    except Resolver404:
        return None


def _links_of(client: Client, path: str) -> list[str]:
    """Open a page and give the addresses within the site that it leads to."""
    answer = client.get(path)
    assert answer.status_code in GOOD, path
    if "text/html" not in answer.get("Content-Type", ""):
        return []
    found = (one.replace("&amp;", "&") for one in LINK.findall(answer.content.decode()))
    here = path.partition("?")[0]
    whole = (here + one if one.startswith("?") else one for one in found)
    return [one for one in whole if one.startswith("/g/")]


def _reached(client: Client, start: str) -> set[str]:
    """Follow links, a few of each kind of page, and name the kinds found."""
    opened: dict[str, int] = {}
    known, waiting = {start}, [start]
    while waiting:
        path = waiting.pop(0)
        name = _name(path)
        assert name, f"{path} leads nowhere"
        opened[name] = opened.get(name, 0) + 1
        if opened[name] > MOST_OF_A_KIND:
            continue
        fresh = [one for one in _links_of(client, path) if one not in known]
        known.update(fresh)
        waiting.extend(fresh)
    return set(opened)


@pytest.mark.parametrize("role", sorted(EVERYONE))
def test_every_page_is_reached_by_links(
    make_world: Callable[..., World], settings: Any, role: str
) -> None:
    settings.SHOWS_MAIL = True
    full = fill(make_world("Canary"))
    reached = _reached(full.world.client(role), f"/g/{full.world.slug}/")
    mine = {
        name
        for name, address in ADDRESSES.items()
        if role in address.roles and not address.acts
    }
    assert mine - reached - ELSEWHERE == set()
    others = {name for name in reached if name in ADDRESSES} - mine
    assert others == set(), "links that only lead to a closed door"
