"""Every address, opened by every role, by strangers and by nobody."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from blocks import access
from blocks.models import Block, Farm, GroupQuerySet
from tests.builders import World
from tests.tenancy.every_url import ADDRESSES, EVERYONE, OUTSIDE, Address
from tests.tenancy.full_world import FullWorld, fill

pytestmark = pytest.mark.django_db(databases=["default", "owner"])
REDIRECT, FORBIDDEN, NOT_FOUND, SERVER_ERROR = 302, 403, 404, 500
UNAUTHORIZED = 401
MINE, THEIRS = "Canary", "Magpie"


def _patterns(resolver: URLResolver) -> Iterator[URLPattern]:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            yield from _patterns(pattern)
        else:
            yield pattern


def _own_patterns() -> list[URLPattern]:
    return [
        pattern
        for pattern in _patterns(get_resolver())
        if not getattr(pattern.callback, "__module__", "").startswith("allauth")
        and not str(pattern.name or "").startswith("account_")
    ]


@pytest.fixture
def mine(make_world: Callable[..., World], settings: Any) -> FullWorld:
    settings.SHOWS_MAIL = True
    return fill(make_world(MINE))


@pytest.fixture
def theirs(make_world: Callable[..., World]) -> FullWorld:
    return fill(make_world(THEIRS))


def _url(name: str, address: Address, of: FullWorld, *, slug: str = "") -> str:
    return reverse(
        name,
        kwargs={"group_slug": slug or of.world.slug, **address.arguments(of)},
    )


def _open(client: Client, address: Address, url: str) -> Any:
    return client.post(url) if address.acts else client.get(url)


def test_every_address_is_in_the_table() -> None:
    named = {str(pattern.name) for pattern in _own_patterns()}
    api = {name for name in named if name.startswith("api-")}
    assert named - api == set(ADDRESSES) | OUTSIDE | {"fresh-sheet"}


def test_every_address_of_a_group_has_a_door() -> None:
    for pattern in _own_patterns():
        if "group_slug" not in str(pattern.pattern):
            continue
        view = pattern.callback
        has_door = hasattr(view, "allowed_roles") or hasattr(
            getattr(view, "view_class", view), "allowed_roles"
        )
        assert has_door, pattern.name


def test_every_role_opens_what_it_may_and_nothing_else(mine: FullWorld) -> None:
    wrong = []
    for role in sorted(EVERYONE):
        client = mine.world.client(role)
        for name, address in ADDRESSES.items():
            if address.acts and role in address.roles:
                continue  # what acting does is each page's own test
            status = _open(client, address, _url(name, address, mine)).status_code
            allowed = role in address.roles
            if (status == FORBIDDEN) == allowed or status >= SERVER_ERROR:
                wrong.append((role, name, status))
            if allowed and status not in {200, 204}:
                wrong.append((role, name, status))
    assert wrong == []


def test_a_stranger_to_the_group_finds_nothing(
    mine: FullWorld, theirs: FullWorld, stranger: Client
) -> None:
    outsiders = [stranger, theirs.world.client("coordinator")]
    found = [
        name
        for client in outsiders
        for name, address in ADDRESSES.items()
        if _open(client, address, _url(name, address, mine)).status_code != NOT_FOUND
    ]
    assert found == []


def test_someone_not_signed_in_is_sent_to_sign_in(mine: FullWorld) -> None:
    for name, address in ADDRESSES.items():
        answer = _open(Client(), address, _url(name, address, mine))
        if address.for_scripts:
            assert answer.status_code == UNAUTHORIZED, name
            assert answer["Content-Type"] == "application/problem+json", name
            continue
        assert answer.status_code == REDIRECT, name
        assert answer["Location"].startswith("/accounts/login/"), name


def test_another_groups_objects_are_not_found_under_ones_own_group(
    mine: FullWorld, theirs: FullWorld
) -> None:
    client = mine.world.client("coordinator")
    found = []
    for name, address in ADDRESSES.items():
        if not any(key.endswith("_uuid") for key in address.arguments(theirs)):
            continue
        url = _url(name, address, theirs, slug=mine.world.slug)
        if _open(client, address, url).status_code != NOT_FOUND:
            found.append(name)
    assert found == []


def _pages_with(client: Client, of: FullWorld, canary: str) -> list[str]:
    return [
        name
        for name, address in ADDRESSES.items()
        if not address.acts
        and canary.encode() in b"".join(client.get(_url(name, address, of)))
    ]


def test_no_page_tells_of_another_group(mine: FullWorld, theirs: FullWorld) -> None:
    client = mine.world.client("coordinator")
    assert _pages_with(client, mine, THEIRS) == []
    # The canary does sing on the group's own pages, so its silence means something.
    assert len(_pages_with(client, mine, MINE)) > 20


def test_with_the_first_wall_down_the_second_still_holds(
    mine: FullWorld, theirs: FullWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Queries that forget the farm group altogether show no other group's row."""
    monkeypatch.setattr(GroupQuerySet, "for_group", lambda self, _: self.all())
    monkeypatch.setattr(
        access, "visible_blocks", lambda _: Block.objects.select_related("farm")
    )
    monkeypatch.setattr(access, "visible_farms", lambda _: Farm.objects.all())
    client = mine.world.client("coordinator")
    assert _pages_with(client, mine, THEIRS) == []
    assert len(_pages_with(client, mine, MINE)) > 20
    for name, address in ADDRESSES.items():
        if any(key.endswith("_uuid") for key in address.arguments(theirs)):
            url = _url(name, address, theirs, slug=mine.world.slug)
            assert _open(client, address, url).status_code == NOT_FOUND, name


def test_a_grower_does_not_find_other_farms(mine: FullWorld) -> None:
    client = mine.world.client("grower")
    other = mine.world.blocks[1]
    url = reverse("block", args=[mine.world.slug, other.uuid])
    assert client.get(url).status_code == NOT_FOUND
    page = client.get(reverse("group", args=[mine.world.slug])).content.decode()
    assert mine.world.block.name in page
    assert other.name not in page


def test_acting_needs_the_token_of_a_page(mine: FullWorld) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(mine.world.people["coordinator"])
    for name, address in ADDRESSES.items():
        if address.acts:
            url = _url(name, address, mine)
            assert client.post(url).status_code == FORBIDDEN, name


def test_reading_changes_nothing(mine: FullWorld) -> None:
    client = mine.world.client("coordinator")
    for name, address in ADDRESSES.items():
        if address.acts:
            continue
        with CaptureQueriesContext(connection) as queries:
            client.get(_url(name, address, mine))
        written = [
            query["sql"]
            for query in queries.captured_queries
            if query["sql"].startswith(("INSERT", "UPDATE", "DELETE"))
        ]
        assert written == [], name


@pytest.mark.parametrize("path", ["", "accounts/login/", "healthz", "no-such-page"])
def test_every_answer_carries_the_headers(client: Client, path: str) -> None:
    _has_headers(client.get(f"/{path}"))


def test_every_page_of_a_group_carries_the_headers(mine: FullWorld) -> None:
    client = mine.world.client("coordinator")
    for name, address in ADDRESSES.items():
        if not address.acts:
            _has_headers(client.get(_url(name, address, mine)))


def _has_headers(answer: Any) -> None:
    policy = answer["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["X-Frame-Options"] == "DENY"
    assert answer["Referrer-Policy"] == "same-origin"
