"""Who owns what, and where it is."""

from blocks.models.groups import (
    Farm,
    FarmGroup,
    GroupQuerySet,
    Membership,
    MembershipFarm,
)
from blocks.models.imports import BoundaryImport
from blocks.models.parcels import Block, BlockBoundary
from blocks.models.people import User

__all__ = [
    "Block",
    "BlockBoundary",
    "BoundaryImport",
    "Farm",
    "FarmGroup",
    "GroupQuerySet",
    "Membership",
    "MembershipFarm",
    "User",
]
