"""Keep photographs of bags, each once, without what the camera wrote beside them."""

import hashlib
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from blocks.access import COUNTERS, Member, Role, require
from blocks.errors import ConflictError
from blocks.files import path_of, store
from monitoring.models import Bag, BagPhoto, BenchEvent
from monitoring.photographs.reader import PhotoError, read_photograph
from monitoring.queries.bags import bag_seen
from monitoring.queries.bench_photos import told_of

MOST_OF_A_BAG = 20
OTHER_BYTES = (
    "Another photograph has this key already; it stands. Take the photograph again."
)

NOT_SEEN = (
    "The photograph's bag is not among those that you may see. Let somebody of its farm"
    " sign in at this device; the photograph stays on it."
)


class NotToldError(ConflictError):
    """A photograph that came before the act that tells whose it is."""

    code = "photo-not-told"


def receive(member: Member, photo_uuid: UUID, sent: bytes) -> tuple[BagPhoto, bool]:
    """Keep a photograph, and tell whether it is new; sent again it changes nothing.

    Which bag it is of, who took it and when, its act says. Raises PhotoError for what
    is no photograph, ConflictError for other bytes under the same key.
    """
    require(member, COUNTERS)
    digest = hashlib.sha256(sent).hexdigest()
    there = _there(member, photo_uuid, digest)
    if there is not None:
        return there, False
    told = told_of(member, photo_uuid)
    if told is None:
        raise NotToldError(
            "The act that tells of this photograph has not arrived yet. Send what waits"
            " first; the photograph stays on the device."
        )
    if told.payload["sha256"] != digest:
        raise PhotoError(
            "The photograph did not arrive as it was taken: some of it is missing or"
            " changed. It is sent again; if this is said again, take it again."
        )
    bag = bag_seen(member, UUID(told.payload["bag"]))
    if bag is None:
        raise PhotoError(NOT_SEEN)
    return _keep(member, told, bag, sent)


def _there(member: Member, photo_uuid: UUID, digest: str) -> BagPhoto | None:
    photos = BagPhoto.objects.for_group(member.group_id)
    found: BagPhoto | None = photos.filter(uuid=photo_uuid).first()
    if found is not None and found.sha256 != digest:
        raise ConflictError(OTHER_BYTES)
    return found


def _keep(
    member: Member, told: BenchEvent, bag: Bag, sent: bytes
) -> tuple[BagPhoto, bool]:
    group = BagPhoto.objects.for_group(member.group_id)
    if group.filter(bag=bag, removed_at=None).count() >= MOST_OF_A_BAG:
        raise PhotoError(
            f"Bag {bag.code} has {MOST_OF_A_BAG} photographs already; no more are kept."
            " A coordinator can remove one on the bag's page."
        )
    picture = read_photograph(sent)
    stored = store("photos", member.group_id, [picture.content])
    photo = BagPhoto(
        uuid=UUID(told.payload["photo"]),
        farm_group_id=member.group_id,
        bag=bag,
        stored_name=stored.stored_name,
        sha256=told.payload["sha256"],
        size_bytes=stored.size_bytes,
        width_px=picture.width_px,
        height_px=picture.height_px,
        taken_at=told.device_at,
        taken_by=told.author,
    )
    try:
        with transaction.atomic():
            photo.save(force_insert=True)
    except IntegrityError:
        # The same photograph came by another line in the meantime.
        path_of("photos", member.group_id, stored.stored_name).unlink()
        there = _there(member, photo.uuid, photo.sha256)
        if there is None:
            raise
        return there, False
    return photo, True


@transaction.atomic
def remove(member: Member, photo: BagPhoto, *, why: str) -> None:
    """Take a photograph away for good; that it was there stays, with who and why.

    It may show a person, or another's land, so that the file itself has to go.
    """
    require(member, {Role.COORDINATOR})
    why = why.strip()
    if not why:
        raise PhotoError("Say why the photograph is removed; the reason is kept.")
    locked = (
        BagPhoto.objects.for_group(member.group_id)
        .select_for_update(of=("self",))
        .get(pk=photo.pk)
    )
    if locked.removed_at is not None:
        raise ConflictError("Somebody has removed this photograph already.")
    path = path_of("photos", member.group_id, locked.stored_name)
    locked.stored_name, locked.removed_why = "", why[:300]
    locked.removed_at, locked.removed_by = timezone.now(), member.user
    locked.save()
    # Last, so that a row that could not be changed still has its file.
    transaction.on_commit(lambda: path.unlink(missing_ok=True))
