"""Read photographs of bags, and those that devices took and have not sent."""

from datetime import datetime, timedelta
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet, TextField
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast
from django.http import Http404

from blocks.access import Member, visible_blocks
from monitoring.models import Bag, BagPhoto, BenchEvent

# A device that has a network sends a photograph at once.
AWAITED = timedelta(hours=12)
MOST_AWAITED = 100


def photo_for(member: Member, photo_uuid: UUID) -> BagPhoto:
    """Give a photograph of a bag that the member may see, or Http404; 1 query."""
    found: BagPhoto | None = (
        BagPhoto.objects.for_group(member.group_id)
        .filter(uuid=photo_uuid, bag__round__block__in=visible_blocks(member))
        .select_related("bag")
        .first()
    )
    if found is None:
        raise Http404("No such photograph.")
    return found


def photos_of(bag: Bag) -> QuerySet[BagPhoto]:
    """List a bag's photographs in the order they were taken."""
    photos: QuerySet[BagPhoto] = (
        BagPhoto.objects.for_group(bag.farm_group_id)
        .filter(bag=bag)
        .select_related("taken_by", "removed_by")
        .order_by("taken_at", "pk")
    )
    return photos


def told_of(member: Member, photo_uuid: UUID) -> BenchEvent | None:
    """Give the act by which a device told of a photograph; 1 query."""
    found: BenchEvent | None = (
        BenchEvent.objects.for_group(member.group_id)
        .filter(kind="photo", refusal="", payload__photo=str(photo_uuid))
        .select_related("author")
        .order_by("pk")
        .first()
    )
    return found


def photos_awaited(member: Member, *, now: datetime) -> list[BenchEvent]:
    """List acts of photographs that did not come within half a day; 1 query."""
    there = (
        BagPhoto.objects.for_group(member.group_id)
        .annotate(key=Cast("uuid", TextField()))
        .filter(key=OuterRef("photo"))
    )
    return list(
        BenchEvent.objects.for_group(member.group_id)
        .filter(kind="photo", refusal="", received_at__lt=now - AWAITED)
        .filter(acts__bag__round__block__in=visible_blocks(member))
        .annotate(photo=KeyTextTransform("photo", "payload"))
        .filter(~Exists(there))
        .select_related("author", "device")
        .order_by("-received_at")[:MOST_AWAITED]
    )
