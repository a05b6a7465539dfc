"""Hold what one visit may change, in the same order whoever comes."""

from collections.abc import Collection
from uuid import UUID

from monitoring.bench.payloads import BESIDE_READINGS
from monitoring.models import Bag, BenchDevice, BenchEvent, BenchReading
from monitoring.services.bench_act import bags_named


def hold(device: BenchDevice, readings: Collection[UUID]) -> None:
    """Hold readings and all bags of a visit that brings acts, until it ends.

    Acts come before readings, and each would hold its own bags: two devices with the
    same bags the other way round would wait for each other for ever. Readings come
    before bags, as where a person decides. 1 query where no act waits, else 4.
    """
    events = BenchEvent.objects.for_group(device.farm_group_id).filter(refusal="")
    acts = events.filter(
        device=device,
        sequence__gt=device.acts_to,
        sequence__lte=device.complete_to,
        kind__in=list(BESIDE_READINGS),
    )
    bags = {key for act in acts for key in bags_named(act)}
    if not bags:
        return
    list(
        BenchReading.objects.for_group(device.farm_group_id)
        .filter(uuid__in=readings)
        .order_by("uuid")
        .select_for_update(no_key=True)
        .values_list("pk")
    )
    starts = events.filter(reading_uuid__in=readings, kind="start")
    bags |= {UUID(payload["bag"]) for (payload,) in starts.values_list("payload")}
    list(
        Bag.objects.for_group(device.farm_group_id)
        .filter(uuid__in=bags)
        .order_by("pk")
        .select_for_update(no_key=True)
        .values_list("pk")
    )
