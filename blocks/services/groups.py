"""Set up farm groups, their farms and their people."""

from collections.abc import Sequence
from datetime import date

from django.db import IntegrityError, connection
from django.utils import timezone

from blocks.errors import ConflictError
from blocks.models import Farm, FarmGroup, Membership, MembershipFarm, User
from blocks.tenancy import stating


def create_farm_group(
    *, name: str, slug: str, time_zone: str = "UTC", is_demo: bool = False
) -> FarmGroup:
    """Make a farm group; its key is taken first, so that it can be stated."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence('blocks_farmgroup', 'id'))"
        )
        (key,) = cursor.fetchone()
    group = FarmGroup(
        pk=key, name=name, slug=slug, time_zone=time_zone, is_demo=is_demo
    )
    group.full_clean(exclude=["id"])
    try:
        with stating(key):
            group.save(force_insert=True)
    except IntegrityError as error:
        raise ConflictError(
            f"The short name “{slug}” is taken; choose another one."
        ) from error
    return group


def add_farm(farm_group: FarmGroup, *, name: str) -> Farm:
    """Add a farm to the group."""
    with stating(farm_group.pk):
        return Farm.objects.create(farm_group=farm_group, name=name)


def add_member(
    farm_group: FarmGroup,
    *,
    user: User,
    role: Membership.Role,
    farms: Sequence[Farm] | None = None,
    valid_from: date | None = None,
) -> Membership:
    """Give a person a part in the group, for named farms or, without, for all."""
    with stating(farm_group.pk):
        membership = Membership.objects.create(
            farm_group=farm_group,
            user=user,
            role=role,
            all_farms=farms is None,
            valid_from=valid_from or timezone.localdate(),
        )
        MembershipFarm.objects.bulk_create(
            MembershipFarm(farm_group=farm_group, membership=membership, farm=farm)
            for farm in farms or ()
        )
    return membership
