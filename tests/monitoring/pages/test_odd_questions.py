"""No page fails on what an address may carry: each answers, or says what is wrong."""

from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlencode

import pytest
from django.urls import NoReverseMatch, reverse

from tests.builders import World
from tests.tenancy.every_url import ADDRESSES, Address
from tests.tenancy.full_world import FullWorld, fill

pytestmark = pytest.mark.django_db(databases=["default", "owner"])
ODD = (
    "", "-1", "0", "1e400", "NaN", "-inf", "9" * 400, "1,5", "%", "None", "\x00",
    "\N{ARABIC-INDIC DIGIT TWO}", "é\N{SNOWMAN}\N{RIGHT-TO-LEFT OVERRIDE}", "a" * 3000,
    "' OR 1=1 --", "<b>x</b>", "2026-02-30", "0000-00-00", "99999-01-01",
)  # fmt: skip
# What pages read from their addresses, and the pages that read something.
NAMES = """
above after alpha_percent animals apart before beta_percent block counted_percent counts
cv density farm fewest first further k law lower method most of on order organism page
pilot precision_kind precision_percent rounds season second seed seen tissue upper year
"""
READERS = """
group dispersion effort symptoms forecast block-season calibrations counters
enter-calibration farm-weather next-cells record-treatment sheets treatments efficacy
alerts messages
"""
FORMS = {
    "effort": {"density": "20", "seed": "1"},
    "next-cells": {"seed": "7", "cv": "15", "pilot": "10"},
    "efficacy": {"before": "14", "after": "14", "apart": "7", "above": "50"},
}
TEXT_PARTS = {"tile": ("on", "z", "x", "y"), "recovery-pool": ("tissue",)}
ANSWERS = {200, 204, 302, 400, 404, 422}


@pytest.fixture
def full(make_world: Callable[..., World], settings: Any) -> FullWorld:
    settings.SHOWS_MAIL = True
    return fill(make_world("Canary"))


def _pages() -> Iterator[tuple[str, Address]]:
    return ((name, one) for name, one in ADDRESSES.items() if not one.acts)


def _url(name: str, address: Address, of: FullWorld, **other: object) -> str:
    parts = {"group_slug": of.world.slug, **address.arguments(of), **other}
    return reverse(name, kwargs=parts)


def test_every_page_answers_whatever_it_is_asked(full: FullWorld) -> None:
    """Pages that read nothing are asked once; each name of the others meets each."""
    client = full.world.client("coordinator")
    readers, named = READERS.split(), list(enumerate(NAMES.split()))
    wrong = []
    for name, address in _pages():
        url = _url(name, address, full)
        for shift in range(len(ODD) if name in readers else 1):
            asked = {one: ODD[(place + shift) % len(ODD)] for place, one in named}
            answer = client.get(f"{url}?{urlencode(asked)}")
            if answer.status_code not in ANSWERS:
                wrong.append((name, shift, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("name", FORMS)
def test_forms_refuse_one_odd_answer_among_good_ones(
    full: FullWorld, name: str
) -> None:
    client = full.world.client("coordinator")
    url = _url(name, ADDRESSES[name], full)
    for field in FORMS[name]:
        for odd in ODD:
            asked = FORMS[name] | {field: odd}
            answer = client.get(f"{url}?{urlencode(asked)}")
            assert answer.status_code in ANSWERS, (field, odd[:20])


@pytest.mark.parametrize("name", TEXT_PARTS)
def test_odd_parts_of_an_address_are_not_found(full: FullWorld, name: str) -> None:
    client = full.world.client("coordinator")
    for part in TEXT_PARTS[name]:
        for odd in ODD:
            try:
                url = _url(name, ADDRESSES[name], full, **{part: odd})
            except NoReverseMatch:
                continue  # no address of the site
            assert client.get(url).status_code in ANSWERS, (part, odd[:20])
