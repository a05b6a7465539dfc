"""Decide who may see what: the only door to a farm group's rows."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Q, QuerySet
from django.http import Http404
from django.utils import timezone

from blocks.models import Block, Farm, FarmGroup, Membership, User
from blocks.tenancy import state_group, stating_person

if TYPE_CHECKING:
    from collections.abc import Iterable

Role = Membership.Role

# What each role may do; pages and services ask by these names.
COUNTERS = frozenset({Role.COORDINATOR, Role.LAB})
RULERS = frozenset({Role.COORDINATOR, Role.GROWER})
# Laboratory staff read what was done to blocks, and do not record it.
TREATERS = frozenset({Role.COORDINATOR, Role.GROWER, Role.CONSULTANT})
PLANNERS = frozenset({Role.COORDINATOR, Role.GROWER, Role.CONSULTANT})
EVERYONE = frozenset(Role)


@dataclass(frozen=True, slots=True)
class Member:
    """A signed-in person inside one farm group.

    `farm_ids` is None for a member who sees all farms of the group.
    """

    user: User
    farm_group: FarmGroup
    membership: Membership
    role: Membership.Role
    farm_ids: frozenset[int] | None

    @property
    def group_id(self) -> int:
        """The farm group's key, which every query names."""
        return self.farm_group.pk

    @property
    def is_coordinator(self) -> bool:
        """Whether this member answers for the group's settings."""
        return self.role == Role.COORDINATOR

    @property
    def may_count(self) -> bool:
        """Whether this member sees bags and sheets of the lab."""
        return self.role in COUNTERS

    @property
    def may_rule(self) -> bool:
        """Whether this member sets thresholds."""
        return self.role in RULERS

    @property
    def may_treat(self) -> bool:
        """Whether this member records what was done to blocks."""
        return self.role in TREATERS

    @property
    def may_plan(self) -> bool:
        """Whether this member plans rounds."""
        return self.role in PLANNERS

    @property
    def sees_all_farms(self) -> bool:
        """Whether no farm of the group is hidden from this member."""
        return self.farm_ids is None


def signed_in(user: object) -> User:
    """Narrow a request's user, known to be signed in, to a person."""
    if not isinstance(user, User):
        raise PermissionDenied("Sign in first.")
    return user


def memberships_of(user: User, *, now: datetime | None = None) -> list[Membership]:
    """List a person's memberships in force, by the group's name; 1 query."""
    today = timezone.localdate(now)
    with stating_person(user.pk):
        return list(
            Membership.objects.filter(_in_force(today), user=user)
            .select_related("farm_group")
            .order_by("farm_group__name")
        )


def _in_force(today: object) -> Q:
    return Q(valid_from__lte=today) & (Q(valid_until=None) | Q(valid_until__gt=today))


def member_for(user: User, group_slug: str) -> Member:
    """Find the person's part in a group, and state the group for the transaction.

    Must run inside a transaction. A group that does not exist and one that the
    person has no part in look the same: Http404. 3 or 4 queries.
    """
    state_group(0, person_id=user.pk)
    membership = (
        Membership.objects.filter(
            _in_force(timezone.localdate()), user=user, farm_group__slug=group_slug
        )
        .select_related("farm_group")
        .first()
    )
    if membership is None:
        raise Http404("No such page.")
    state_group(membership.farm_group_id, person_id=user.pk)
    farm_ids = None
    if not membership.all_farms:
        farm_ids = frozenset(
            membership.farm_grants.filter(
                farm_group_id=membership.farm_group_id
            ).values_list("farm_id", flat=True)
        )
    return Member(
        user=user,
        farm_group=membership.farm_group,
        membership=membership,
        role=Role(membership.role),
        farm_ids=farm_ids,
    )


def require(member: Member, roles: "Iterable[Membership.Role]") -> None:
    """Refuse a member whose role is too low (403)."""
    if member.role not in set(roles):
        raise PermissionDenied("Your role in this farm group does not allow this.")


def visible_farms(member: Member) -> QuerySet[Farm]:
    """Farms that the member may see, by name."""
    farms = Farm.objects.for_group(member.group_id).order_by("name")
    if member.farm_ids is not None:
        farms = farms.filter(pk__in=member.farm_ids)
    return farms


def visible_blocks(member: Member) -> QuerySet[Block]:
    """Blocks of farms that the member may see, by farm and name."""
    blocks = (
        Block.objects.for_group(member.group_id)
        .select_related("farm")
        .order_by("farm__name", "name")
    )
    if member.farm_ids is not None:
        blocks = blocks.filter(farm_id__in=member.farm_ids)
    return blocks


def block_for(member: Member, block_uuid: UUID) -> Block:
    """Give a block that the member may see, or Http404; 1 query."""
    block = visible_blocks(member).filter(uuid=block_uuid).first()
    if block is None:
        raise Http404("No such block.")
    return block


def farm_for(member: Member, farm_uuid: UUID) -> Farm:
    """Give a farm that the member may see, or Http404; 1 query."""
    farm = visible_farms(member).filter(uuid=farm_uuid).first()
    if farm is None:
        raise Http404("No such farm.")
    return farm


def members_who_see(farm_group_id: int, farm_id: int) -> QuerySet[Membership]:
    """Memberships in force today whose members may see a farm; 1 query."""
    return (
        Membership.objects.for_group(farm_group_id)
        .filter(_in_force(timezone.localdate()), user__is_active=True)
        .filter(Q(all_farms=True) | Q(farm_grants__farm_id=farm_id))
        .select_related("user", "farm_group")
        .order_by("user__name", "pk")
        .distinct()
    )
