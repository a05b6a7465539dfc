"""Read the devices of a bench: when each was last heard of, and what waits there."""

from uuid import UUID

from django.db.models import Count, F, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from blocks.access import Member
from monitoring.models import BenchDevice, BenchEvent, BenchReading

MOST_DEVICES = 200
State = BenchReading.State


def devices_of(member: Member) -> QuerySet[BenchDevice]:
    """List the group's devices, the one heard of last first; 1 query.

    `held` is how many of its events wait for others that are missing, `missing` how
    many of those there are.
    """
    later = (
        BenchEvent.objects.for_group(member.group_id)
        .filter(device=OuterRef("pk"), sequence__gt=OuterRef("complete_to"))
        .order_by()
        .values("device")
        .annotate(number=Count("pk"))
        .values("number")
    )
    devices: QuerySet[BenchDevice] = (
        BenchDevice.objects.for_group(member.group_id)
        .select_related("last_person")
        .annotate(held=Coalesce(Subquery(later), 0))
        .annotate(missing=F("highest_sequence") - F("complete_to") - F("held"))
        .order_by("-last_seen_at", "-pk")
    )
    return devices[:MOST_DEVICES]


def readings_under_way(device: BenchDevice) -> set[UUID]:
    """Give a device's readings that are being counted or wait for a person; 1 query."""
    return set(
        BenchReading.objects.for_group(device.farm_group_id)
        .filter(device=device, state__in=[State.OPEN, State.WAITING])
        .values_list("uuid", flat=True)
    )
