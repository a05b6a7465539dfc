"""Who may see what."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from blocks.access import (
    Role,
    block_for,
    farm_for,
    member_for,
    members_who_see,
    memberships_of,
    visible_blocks,
    visible_farms,
)
from blocks.services.groups import add_member
from blocks.tenancy import stating
from tests.builders import World, make_user

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", ["coordinator", "lab", "consultant"])
def test_the_groups_people_see_all_its_farms(world: World, role: str) -> None:
    with transaction.atomic():
        member = member_for(world.people[role], world.slug)
        assert list(visible_farms(member)) == world.farms
        assert list(visible_blocks(member)) == world.blocks


def test_a_grower_sees_their_farms_only(world: World) -> None:
    with transaction.atomic():
        member = member_for(world.people["grower"], world.slug)
        assert list(visible_farms(member)) == world.farms[:1]
        assert block_for(member, world.blocks[0].uuid) == world.blocks[0]
        with pytest.raises(Http404):
            block_for(member, world.blocks[1].uuid)
        with pytest.raises(Http404):
            farm_for(member, world.farms[1].uuid)


def test_another_group_and_none_look_the_same(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with transaction.atomic(), pytest.raises(Http404, match="No such page"):
        member_for(first.people["lab"], second.slug)
    with transaction.atomic(), pytest.raises(Http404, match="No such page"):
        member_for(first.people["lab"], "no-such-group")


def test_a_block_of_another_group_is_not_found(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    with transaction.atomic():
        member = member_for(first.people["coordinator"], first.slug)
        with pytest.raises(Http404):
            block_for(member, second.block.uuid)


@pytest.mark.parametrize(("begins", "ends"), [(-30, 0), (1, None)])
def test_a_part_counts_only_while_it_is_in_force(
    world: World, begins: int, ends: int | None
) -> None:
    today = timezone.localdate()
    person = world.people["consultant"]
    with stating(world.group.pk):
        membership = person.memberships.get()
        membership.valid_from = today + timedelta(days=begins)
        membership.valid_until = None if ends is None else today + timedelta(days=ends)
        membership.save()
    assert memberships_of(person) == []
    with transaction.atomic(), pytest.raises(Http404):
        member_for(person, world.slug)


def test_a_person_of_two_groups_enters_one_at_a_time(
    make_world: Callable[..., World],
) -> None:
    first, second = make_world(), make_world()
    person = first.people["consultant"]
    add_member(second.group, user=person, role=Role.CONSULTANT)
    assert [row.farm_group for row in memberships_of(person)] == [
        first.group,
        second.group,
    ]
    with transaction.atomic():
        member = member_for(person, second.slug)
        assert list(visible_farms(member)) == second.farms


def test_members_who_see_a_farm_leave_out_other_growers(world: World) -> None:
    with stating(world.group.pk):
        seen_by = members_who_see(world.group.pk, world.farms[1].pk)
        roles = {row.role for row in seen_by}
    assert roles == {"coordinator", "lab", "consultant"}


def test_someone_without_a_part_sees_no_group(world: World) -> None:
    assert memberships_of(make_user("nobody")) == []
