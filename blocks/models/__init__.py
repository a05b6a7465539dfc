"""Who owns what, and where it is."""

from blocks.models.groups import (
    Farm,
    FarmGroup,
    GroupQuerySet,
    Membership,
    MembershipFarm,
)
from blocks.models.parcels import Block, BlockBoundary
from blocks.models.people import User

__all__ = [
    "Block",
    "BlockBoundary",
    "Farm",
    "FarmGroup",
    "GroupQuerySet",
    "Membership",
    "MembershipFarm",
    "User",
]
