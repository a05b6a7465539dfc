"""Small worlds for tests: two farm groups that must never see each other."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from itertools import count
from typing import Any

import pytest
from django.contrib.gis.geos import MultiPolygon, Polygon
from django.test import Client

from blocks.models import Block, BlockBoundary, Farm, FarmGroup, Membership, User
from blocks.services.groups import add_farm, add_member, create_farm_group
from blocks.tenancy import stating
from monitoring.services.laboratory import set_up_laboratory

Role = Membership.Role
_numbers = count(1)


def square(west: float, south: float, *, size: float = 0.001) -> MultiPolygon:
    """Give a square parcel; about 1 ha at mid latitudes."""
    east, north = west + size, south + size
    ring = [(west, south), (east, south), (east, north), (west, north), (west, south)]
    return MultiPolygon(Polygon(ring), srid=4326)


@dataclass
class World:
    """A farm group with two farms, a block on each, and one person a role.

    The grower sees the first farm only; the consultant sees the group.
    """

    group: FarmGroup
    farms: list[Farm]
    blocks: list[Block]
    people: dict[str, User] = field(default_factory=dict)

    @property
    def slug(self) -> str:
        return self.group.slug

    @property
    def block(self) -> Block:
        return self.blocks[0]

    def client(self, role: str) -> Client:
        """Give a browser that is signed in as the person of a role."""
        client = Client()
        client.force_login(self.people[role])
        return client

    def url(self, rest: str = "") -> str:
        return f"/g/{self.slug}/{rest}"


def make_user(name: str, **fields: Any) -> User:
    number = next(_numbers)
    return User.objects.create_user(
        email=f"{name}{number}@example.org".lower().replace(" ", "."),
        password="a long enough password",
        name=f"{name.title()} {number}",
        **fields,
    )


def add_block(farm: Farm, name: str, *, west: float, south: float = 45.0) -> Block:
    with stating(farm.farm_group_id):
        block = Block.objects.create(
            farm_group_id=farm.farm_group_id, farm=farm, name=name, cultivar="Riesling"
        )
        BlockBoundary.objects.create(
            farm_group_id=farm.farm_group_id,
            block=block,
            geometry=square(west, south),
            valid_from=date(2000, 1, 1),
            source="test",
        )
    return block


@pytest.fixture
def make_world(db: None) -> Callable[..., World]:
    """Make worlds; each call gives a farm group of its own."""

    def make(canary: str = "") -> World:
        number = next(_numbers)
        group = create_farm_group(
            name=f"{canary or 'Group'} {number}", slug=f"group-{number}"
        )
        set_up_laboratory(group)
        farms = [
            add_farm(group, name=f"{canary}Farm {letter}{number}") for letter in "AB"
        ]
        blocks = [
            add_block(farm, f"{canary}Block {index}", west=10.0 + 0.01 * index)
            for index, farm in enumerate(farms)
        ]
        world = World(group=group, farms=farms, blocks=blocks)
        for role in Role:
            person = make_user(role.value)
            limited = [farms[0]] if role == Role.GROWER else None
            add_member(
                group,
                user=person,
                role=role,
                farms=limited,
                valid_from=date(2000, 1, 1),
            )
            world.people[role.value] = person
        return world

    return make


@pytest.fixture
def world(make_world: Callable[..., World]) -> World:
    """A farm group with people of every role."""
    return make_world()


@pytest.fixture
def stranger(db: None) -> Client:
    """A browser signed in as a person without any membership."""
    client = Client()
    client.force_login(make_user("stranger"))
    return client
