"""Read farm groups, farms, people and blocks."""

from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from blocks.models import BoundaryImport, FarmGroup, Membership


def members_of_group(farm_group: FarmGroup) -> QuerySet[Membership]:
    """List the group's people, those in force first, by name; 3 queries."""
    return (
        Membership.objects.for_group(farm_group.pk)
        .select_related("user")
        .prefetch_related("farm_grants__farm")
        .order_by("valid_until", "user__name", "pk")
    )


def membership_for(farm_group: FarmGroup, membership_uuid: UUID) -> Membership:
    """One person's part in the group, or Http404; 1 query."""
    found: Membership = get_object_or_404(
        Membership.objects.for_group(farm_group.pk).select_related("user"),
        uuid=membership_uuid,
    )
    return found


def boundary_imports(farm_group: FarmGroup) -> QuerySet[BoundaryImport]:
    """List the group's boundary files, newest first; 1 query."""
    imports: QuerySet[BoundaryImport] = (
        BoundaryImport.objects.for_group(farm_group.pk)
        .select_related("uploaded_by", "farm")
        .order_by("-uploaded_at", "-pk")
    )
    return imports


def import_for(farm_group: FarmGroup, import_uuid: UUID) -> BoundaryImport:
    """Give one of the group's boundary files, or Http404; 1 query."""
    found: BoundaryImport = get_object_or_404(
        boundary_imports(farm_group), uuid=import_uuid
    )
    return found
