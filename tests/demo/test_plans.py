"""The demo's planned rounds are of its blocks, and of days to come."""

from deploy.demo.places import BLOCKS
from deploy.demo.plans import PLANS


def test_plans_are_of_blocks_that_the_demo_has() -> None:
    assert {one.block for one in PLANS} <= {place.name for place in BLOCKS}
    assert all(0 < one.days_ahead < 14 for one in PLANS)
    assert len({one.seed for one in PLANS}) == len(PLANS)


def test_one_of_them_has_its_bags_and_the_others_wait_for_theirs() -> None:
    assert [one.has_bags for one in PLANS].count(True) == 1
