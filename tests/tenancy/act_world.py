"""An act that waits and a photograph for worlds that need one of everything."""

from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from blocks.files import store
from monitoring.models import Bag, BagPhoto, BenchAct, BenchDevice, BenchEvent
from tests.builders import World

TAKEN = datetime(2026, 8, 14, 8, tzinfo=UTC)
# Of one grey pixel; what is kept is never opened again.
PIXEL = b"\xff\xd8\xff\xdb canary"


def give_act(world: World, bag: Bag) -> dict[str, Any]:
    """Let a device tell what a person must decide, and send a photograph."""
    group, person = world.group, world.people["lab"]
    name = f"{group.name} phone"
    device = BenchDevice.objects.create(uuid=uuid4(), farm_group=group, name=name)
    act = BenchEvent.objects.create(
        uuid=uuid4(),
        farm_group=group,
        device=device,
        sequence=1,
        kind="lose",
        payload={"bag": str(bag.uuid), "why": f"{group.name} why"},
        device_at=TAKEN,
        author=person,
        sent_by=person,
    )
    BenchAct.objects.create(
        farm_group=group,
        event=act,
        bag=bag,
        bag_uuid=bag.uuid,
        state="waiting",
        why=f"{group.name} doubt",
    )
    stored = store("photos", group.pk, [PIXEL])
    photo = BagPhoto.objects.create(
        farm_group=group,
        bag=bag,
        stored_name=stored.stored_name,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        width_px=1,
        height_px=1,
        taken_at=TAKEN,
        taken_by=person,
    )
    return {"act": act, "photo": photo}
