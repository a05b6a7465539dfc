"""Services of one's own come whole or not at all."""

import pytest

from deploy.steps.given import own_services
from deploy.steps.say import StepError

SITE = {"WASHBOARD_DATABASE_URL": "postgresql://site@/vines"}
OWNER = {"WASHBOARD_OWNER_DATABASE_URL": "postgresql://owner@/vines"}


@pytest.mark.parametrize(
    ("given", "lacking"),
    [(SITE, "WASHBOARD_OWNER_DATABASE_URL"), (OWNER, "WASHBOARD_DATABASE_URL")],
)
def test_half_a_database_is_refused(given: dict[str, str], lacking: str) -> None:
    with pytest.raises(StepError, match=f"and {lacking} is not"):
        own_services(given)


def test_nothing_given_means_private_services() -> None:
    own = own_services({"WASHBOARD_REDIS_URL": ""})
    assert (own.site_url, own.owner_url, own.redis_url) == (None, None, None)


def test_a_whole_pair_is_used() -> None:
    own = own_services(SITE | OWNER)
    assert own.site_url == "postgresql://site@/vines"
    assert own.redis_url is None
