"""What benches and phones tell: devices, their events, readings, photographs."""

from collections.abc import Mapping
from types import MappingProxyType
from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Dish
from monitoring.models.samples import Bag

ACT_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "collect": "Collected",
        "uncollect": "Collecting taken back",
        "receive": "Received",
        "lose": "Lost",
        "wash": "Washed",
        "photo": "Photograph",
    }
)


class BenchDevice(models.Model):
    """A browser at a bench or in the field that keeps events until it has a network.

    What it said at its last visit is kept, so that a loss is bounded and seen.
    """

    # Made by the device itself.
    uuid = models.UUIDField()
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    name = models.CharField(max_length=60, blank=True)
    first_seen_at = models.DateTimeField(default=timezone.now, editable=False)
    last_seen_at = models.DateTimeField(default=timezone.now)
    last_person = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    # Every event up to this sequence number has arrived; later ones wait for a gap.
    complete_to = models.PositiveBigIntegerField(default=0)
    # Its acts beside readings were done up to this number.
    acts_to = models.PositiveBigIntegerField(default=0, db_default=0)
    highest_sequence = models.PositiveBigIntegerField(default=0)
    # As the device said: how many of its events were not sent yet, and since when.
    unsent = models.PositiveIntegerField(default=0)
    oldest_unsent_at = models.DateTimeField(null=True, blank=True)
    # By how much its clock was ahead of the server's at the last visit.
    clock_ahead_s = models.FloatField(default=0.0)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "uuid"], name="monitoring_benchdevice_once"
            ),
        ]

    def __str__(self) -> str:
        return self.name or f"device {str(self.uuid)[:8]}"


class BenchEvent(models.Model):
    """One press or other act at a device; only added to.

    One that was refused keeps its place, so that its device's numbers have no gap.
    """

    # Made by the device itself, so that sending it twice stores it once.
    uuid = models.UUIDField()
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    device = models.ForeignKey(
        BenchDevice,
        models.PROTECT,
        db_constraint=False,
        related_name="events",
        db_index=False,
    )
    sequence = models.PositiveBigIntegerField()
    schema = models.PositiveSmallIntegerField(default=1)
    kind = models.CharField(max_length=20)
    # The reading it belongs to, by the device's own key; None for acts beside one.
    reading_uuid = models.UUIDField(null=True, blank=True)
    payload = models.JSONField(default=dict, blank=True)
    # As the device claims; the order of events is that of their sequence numbers.
    device_at = models.DateTimeField()
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    # Who did it, and who was signed in when it was sent.
    author = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    sent_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    # Why it counts for nothing, in words; empty for an event that was taken.
    refusal = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "uuid"], name="monitoring_benchevent_once"
            ),
            models.UniqueConstraint(
                fields=["farm_group", "device", "sequence"],
                name="monitoring_benchevent_number_of_device",
            ),
            models.CheckConstraint(
                condition=Q(sequence__gte=1), name="monitoring_benchevent_from_one"
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "reading_uuid", "sequence"],
                condition=Q(reading_uuid__isnull=False),
                name="monitoring_benchevent_reading",
            ),
            # Few, among all the presses.
            models.Index(
                fields=["farm_group", "device"],
                condition=Q(kind="photo"),
                name="monitoring_benchevent_photo",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.sequence}"

    @property
    def act_words(self) -> str:
        """What was done, of an act beside readings: "Washed, wash 2"."""
        words = ACT_WORDS.get(self.kind, self.kind)
        number = self.payload.get("number", 1) if self.kind == "wash" else 1
        return words if number == 1 else f"{words}, wash {number}"


class BenchReading(models.Model):
    """One person's counting of one dish at one device, as its events tell.

    Made again from the events whenever more arrive; only a person's decision and what
    was published are kept beside them.
    """

    class State(models.TextChoices):
        """How far it has got."""

        OPEN = "open", "being counted"
        PUBLISHED = "published", "published"
        WAITING = "waiting", "waits for a person"
        QUARANTINED = "quarantined", "set apart"
        SET_ASIDE = "set_aside", "set aside"
        DROPPED = "dropped", "dropped at the bench"

    # Made by the device itself.
    uuid = models.UUIDField()
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    device = models.ForeignKey(
        BenchDevice,
        models.PROTECT,
        db_constraint=False,
        related_name="readings",
        db_index=False,
    )
    # None where no bag of the group has the key that the device gave.
    bag = models.ForeignKey(
        Bag,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="bench_readings",
    )
    bag_uuid = models.UUIDField()
    wash_number = models.PositiveSmallIntegerField(default=1)
    dish = models.ForeignKey(
        Dish,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    dish_number = models.PositiveSmallIntegerField(default=1)
    analyst = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    # Meant as a second reading of a dish, by somebody who was not shown the first.
    recount = models.BooleanField(default=False)
    blind = models.BooleanField(default=False)
    magnification = models.FloatField(null=True, blank=True)
    state = models.CharField(max_length=12, choices=State, default=State.OPEN)
    # What a person must know before deciding, or why it was set apart, in words.
    why = models.TextField(blank=True)
    # As folded from the events: counts, places read, what was found odd.
    told = models.JSONField(default=dict, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    first_received_at = models.DateTimeField(default=timezone.now, editable=False)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    decided_why = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "uuid"], name="monitoring_benchreading_once"
            ),
            models.CheckConstraint(
                condition=Q(decided_at=None, decided_why="")
                | Q(decided_at__isnull=False),
                name="monitoring_benchreading_decided_whole",
            ),
            models.CheckConstraint(
                condition=Q(wash_number__gte=1, dish_number__gte=1),
                name="monitoring_benchreading_numbers_from_one",
            ),
        ]
        indexes = [
            # Few are open or waiting among all that ever were.
            models.Index(
                fields=["farm_group", "state"],
                condition=Q(state__in=["open", "waiting", "quarantined"]),
                name="monitoring_benchreading_to_do",
            )
        ]

    def __str__(self) -> str:
        return f"reading {str(self.uuid)[:8]}"


class BenchAct(models.Model):
    """What came of an act beside readings, for one bag that it names.

    One row for each event and bag, so that no act is done twice.
    """

    class State(models.TextChoices):
        """What came of it."""

        DONE = "done", "done"
        UNCHANGED = "unchanged", "changed nothing"
        WAITING = "waiting", "waits for a person"
        SETTLED = "settled", "settled by a person"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    event = models.ForeignKey(
        BenchEvent,
        models.PROTECT,
        db_constraint=False,
        related_name="acts",
        db_index=False,
    )
    # None where the group has no bag of the key that the device gave.
    bag = models.ForeignKey(
        Bag,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="acts",
        db_index=False,
    )
    bag_uuid = models.UUIDField()
    state = models.CharField(max_length=10, choices=State)
    # What a person should know of it, in words.
    why = models.CharField(max_length=600, blank=True)
    # Where the bag's place was before, if the act moved it: longitude, latitude.
    place_before = models.JSONField(null=True, blank=True)
    moved_place = models.BooleanField(default=False)
    done_at = models.DateTimeField(default=timezone.now, editable=False)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    settled_why = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "event", "bag_uuid"],
                name="monitoring_benchact_once",
            ),
            models.CheckConstraint(
                condition=Q(state="settled", settled_at__isnull=False)
                & ~Q(settled_why="")
                | Q(state__in=["done", "unchanged", "waiting"], settled_at=None),
                name="monitoring_benchact_settled_with_reason",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "bag"], name="monitoring_benchact_of_bag"
            ),
            models.Index(
                fields=["farm_group", "event"],
                condition=Q(state="waiting"),
                name="monitoring_benchact_to_do",
            ),
        ]

    def __str__(self) -> str:
        return f"act {self.event_id} on bag {self.bag_uuid}"


class BagPhoto(models.Model):
    """A photograph of a bag's leaf or dish, without what the camera wrote into it."""

    # Made by the device itself, so that sending it twice stores it once.
    uuid = models.UUIDField(default=uuid4)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    bag = models.ForeignKey(
        Bag,
        models.PROTECT,
        db_constraint=False,
        related_name="photos",
        db_index=False,
    )
    # Empty once it was removed.
    stored_name = models.CharField(max_length=100, blank=True)
    # Of the bytes that the device sent, by which a second sending is known; the file
    # itself was written anew.
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveIntegerField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    note = models.CharField(max_length=300, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)
    taken_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    received_at = models.DateTimeField(default=timezone.now, editable=False)
    # The row stays when the picture is removed, with who and why.
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    removed_why = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "uuid"], name="monitoring_bagphoto_once"
            ),
            models.CheckConstraint(
                condition=Q(removed_at=None, removed_why="") & ~Q(stored_name="")
                | Q(removed_at__isnull=False, stored_name="") & ~Q(removed_why=""),
                name="monitoring_bagphoto_removed_with_reason",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "bag"], name="monitoring_bagphoto_of_bag"
            )
        ]

    def __str__(self) -> str:
        return f"photograph {str(self.uuid)[:8]}"
