"""From the visit to the dish: rounds, bags, washes."""

from uuid import uuid4

from django.contrib.gis.db.models import PointField
from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import Block, FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Tissue


class Round(models.Model):
    """One visit to one block on one local date."""

    class GrowthScale(models.TextChoices):
        """The two published scales of grapevine growth stages."""

        BBCH = "BBCH", "BBCH"
        EL = "EL", "modified E-L"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    block = models.ForeignKey(
        Block, models.PROTECT, db_constraint=False, related_name="rounds"
    )
    collected_on = models.DateField()
    growth_scale = models.CharField(max_length=4, choices=GrowthScale, blank=True)
    growth_code = models.CharField(max_length=3, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "block", "collected_on"],
                name="monitoring_round_one_a_day",
            ),
            models.CheckConstraint(
                condition=Q(growth_scale="", growth_code="")
                | (Q(growth_scale__in=["BBCH", "EL"]) & ~Q(growth_code="")),
                name="monitoring_round_growth_stage_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"round of {self.collected_on}"

    @property
    def growth_stage(self) -> str:
        """The stage as written in sheets, e.g. “BBCH 75”; empty if unknown."""
        return f"{self.growth_scale} {self.growth_code}".strip()


class Bag(models.Model):
    """One sample: one leaf (or so many shoots or buds) in a labelled bag."""

    class Way(models.TextChoices):
        """How far the bag has come."""

        PLANNED = "planned", "planned"
        COLLECTED = "collected", "collected"
        RECEIVED = "received", "received"
        WASHED = "washed", "washed"
        COUNTED = "counted", "counted"
        REPORTED = "reported", "reported"
        LOST = "lost", "lost"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    round = models.ForeignKey(
        Round, models.PROTECT, db_constraint=False, related_name="bags"
    )
    code = models.CharField(max_length=40)
    # Of a printed label, without its dash; empty for a bag that has none.
    label = models.CharField(max_length=7, blank=True, default="", db_default="")
    tissue = models.CharField(max_length=10, choices=Tissue)
    position = models.CharField(max_length=20, blank=True)
    units = models.PositiveSmallIntegerField(default=1)
    # Of its vine: as planned, or where the phone was when it was collected, which has
    # an accuracy. Private to the group.
    point = PointField(srid=4326, null=True, blank=True)
    point_accuracy_m = models.FloatField(null=True, blank=True)
    way = models.CharField(max_length=10, choices=Way, default=Way.COLLECTED)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "round", "code"],
                name="monitoring_bag_code_in_round",
            ),
            models.UniqueConstraint(
                fields=["farm_group", "label"],
                condition=~Q(label=""),
                name="monitoring_bag_label_in_group",
            ),
            models.CheckConstraint(
                condition=Q(label="") | Q(label__regex=r"^[234567CFHJKMRWXY]{7}$"),
                name="monitoring_bag_label_readable",
            ),
            models.CheckConstraint(
                condition=Q(tissue__in=["leaf", "shoot", "bud"]),
                name="monitoring_bag_tissue_known",
            ),
            models.CheckConstraint(
                condition=~Q(tissue="leaf") | ~Q(position=""),
                name="monitoring_bag_leaf_has_position",
            ),
            models.CheckConstraint(
                condition=Q(units__gte=1), name="monitoring_bag_has_units"
            ),
        ]
        indexes = [
            models.Index(fields=["farm_group", "code"], name="monitoring_bag_by_code"),
            # Few bags are under way at a time, among all that ever were.
            models.Index(
                fields=["farm_group", "way"],
                condition=Q(way__in=["planned", "collected", "received", "washed"]),
                name="monitoring_bag_under_way",
            ),
        ]

    def __str__(self) -> str:
        return f"bag {self.code}"

    @property
    def label_code(self) -> str:
        """The label's code as it is printed, e.g. “K7R-4M3X”; empty if it has none."""
        return f"{self.label[:3]}-{self.label[3:]}" if self.label else ""


class Wash(models.Model):
    """One extraction of one bag; a bag can be washed again to measure recovery."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    bag = models.ForeignKey(
        Bag, models.PROTECT, db_constraint=False, related_name="washes"
    )
    number = models.PositiveSmallIntegerField(default=1)
    washed_on = models.DateField(null=True, blank=True)
    alcohol_percent = models.FloatField(null=True, blank=True)
    volume_ml = models.FloatField(null=True, blank=True)
    shake_s = models.FloatField(null=True, blank=True)
    # How many dishes it filled: with one not counted the bag is still waiting.
    dishes = models.PositiveSmallIntegerField(default=1)
    analyst = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    # The name as written, kept when it matches no member.
    analyst_name = models.CharField(max_length=120, blank=True)
    # The batch it was entered with; None where a count sheet alone tells of it.
    batch = models.ForeignKey(
        "monitoring.WashBatch",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="washes",
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "bag", "number"],
                name="monitoring_wash_number_in_bag",
            ),
            models.CheckConstraint(
                condition=Q(number__gte=1), name="monitoring_wash_number_from_one"
            ),
            models.CheckConstraint(
                condition=Q(alcohol_percent=None)
                | Q(alcohol_percent__gte=0, alcohol_percent__lte=100),
                name="monitoring_wash_alcohol_is_percent",
            ),
            models.CheckConstraint(
                condition=Q(volume_ml=None) | Q(volume_ml__gt=0),
                name="monitoring_wash_volume_positive",
            ),
            models.CheckConstraint(
                condition=Q(shake_s=None) | Q(shake_s__gte=0),
                name="monitoring_wash_shake_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"wash {self.number} of bag {self.bag_id}"
