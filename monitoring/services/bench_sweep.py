"""Take up what is left of devices' events where the device does not come again."""

import logging

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.http import Http404

from blocks.access import COUNTERS, Member, member_for
from blocks.tenancy import stating
from monitoring.models import BenchDevice, BenchEvent, BenchReading
from monitoring.services.bench_work import work_out

logger = logging.getLogger(__name__)


def settle_left(farm_group_id: int) -> int:
    """Work out what is due of each device of a group; give how many had something.

    Due are acts that are complete, and readings still open whose end has come: a sheet
    was being published in their place, or a fault kept them. Each device is a
    transaction; one that is being visited is left to its visit. What a person did who
    may no longer count waits for another one's visit with the device.
    """
    with stating(farm_group_id):
        keys = list(_due(farm_group_id).values_list("pk", flat=True))
    return sum(_settled(farm_group_id, key) for key in keys)


def _due(farm_group_id: int) -> QuerySet[BenchDevice]:
    ended = BenchEvent.objects.for_group(farm_group_id).filter(
        reading_uuid=OuterRef("uuid"),
        device=OuterRef("device"),
        kind__in=["finish", "drop"],
        refusal="",
        sequence__lte=OuterRef("device__complete_to"),
    )
    left_open = BenchReading.objects.for_group(farm_group_id).filter(
        Exists(ended), device=OuterRef("pk"), state=BenchReading.State.OPEN
    )
    return (
        BenchDevice.objects.for_group(farm_group_id)
        .filter(Q(acts_to__lt=F("complete_to")) | Exists(left_open))
        .order_by("pk")
    )


def _settled(farm_group_id: int, device_id: int) -> bool:
    """Settle one device; one at fault is left for the next time, the others go on."""
    try:
        return _settle(farm_group_id, device_id)
    except Exception:
        logger.exception("Could not take up what is left of device %s.", device_id)
        return False


@transaction.atomic
def _settle(farm_group_id: int, device_id: int) -> bool:
    with stating(farm_group_id):
        device = (
            BenchDevice.objects.for_group(farm_group_id)
            .filter(pk=device_id)
            .select_related("last_person", "farm_group")
            .select_for_update(of=("self",), skip_locked=True, no_key=True)
            .first()
        )
    member = _last_member(device) if device else None
    if device is None or member is None:
        return False
    work_out(member, device, set())
    return True


def _last_member(device: BenchDevice) -> Member | None:
    """Give the person who came with the device last, if they may still count."""
    if device.last_person is None:
        return None
    try:
        member = member_for(device.last_person, device.farm_group.slug)
    except Http404:
        return None
    return member if member.role in COUNTERS else None
