"""Let people in, and end their part."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone

from blocks.access import Member
from blocks.errors import SiteError
from blocks.models import Farm, Membership, MembershipFarm, User
from blocks.services.groups import add_member


class AlreadyMemberError(SiteError):
    """The person has a part in the group already."""

    code = "already-member"
    status = 409


class LastCoordinatorError(SiteError):
    """The group would be left without a coordinator."""

    code = "last-coordinator"
    status = 409


@transaction.atomic
def invite_person(
    member: Member,
    *,
    email: str,
    name: str,
    role: Membership.Role,
    farms: Sequence[Farm] | None,
) -> Membership:
    """Give a person a part in the member's group; a new person has no password yet.

    They set one through “Forgotten password” on the sign-in page, which proves that
    the address is theirs.
    """
    address = email.strip().lower()
    user = User.objects.filter(email__iexact=address).first()
    if user is None:
        user = User.objects.create_user(email=address, name=name.strip())
    earlier = Membership.objects.for_group(member.group_id).filter(user=user).first()
    if earlier is None:
        return add_member(member.farm_group, user=user, role=role, farms=farms)
    if earlier.valid_until is None:
        raise AlreadyMemberError(
            f"{address} already has a part in this farm group. End it first to give"
            " another role."
        )
    return _renew(earlier, role=role, farms=farms)


def _renew(
    membership: Membership, *, role: Membership.Role, farms: Sequence[Farm] | None
) -> Membership:
    membership.role = role
    membership.all_farms = farms is None
    membership.valid_from = timezone.localdate()
    membership.valid_until = None
    membership.save()
    membership.farm_grants.all().delete()
    MembershipFarm.objects.bulk_create(
        MembershipFarm(
            farm_group_id=membership.farm_group_id, membership=membership, farm=farm
        )
        for farm in farms or ()
    )
    return membership


def end_membership(member: Member, membership: Membership, *, today: date) -> None:
    """End a person's part in the group: from today they see nothing of it."""
    if membership.role == Membership.Role.COORDINATOR:
        others = (
            Membership.objects.for_group(member.group_id)
            .filter(role=Membership.Role.COORDINATOR, valid_until=None)
            .exclude(pk=membership.pk)
        )
        if not others.exists():
            raise LastCoordinatorError(
                "This is the group's only coordinator. Add another one first."
            )
    membership.valid_until = max(today, membership.valid_from)
    membership.save(update_fields=["valid_until"])
