"""How bags are to be washed, and the batches in which they were."""

from uuid import uuid4

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.samples import Round


class WashProtocol(models.Model):
    """How the group washes a bag, from a date on; unless stated, common practice.

    Rows are never changed: a newer `valid_from`, then a newer row, takes over. The
    defaults are common practice: one part of 70 percent alcohol to one of water, 45 to
    50 ml a bag, 30 s of hard shaking, tissue cut to about 2.5 cm; nothing on rinses.
    """

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    alcohol_low_percent = models.FloatField(default=35.0)
    alcohol_high_percent = models.FloatField(default=35.0)
    volume_low_ml = models.FloatField(default=45.0)
    volume_high_ml = models.FloatField(default=50.0)
    shake_low_s = models.FloatField(default=30.0)
    shake_high_s = models.FloatField(default=30.0)
    piece_low_cm = models.FloatField(default=2.0)
    piece_high_cm = models.FloatField(default=3.0)
    # None where the group does not say how often a bag is rinsed.
    rinses = models.PositiveSmallIntegerField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    valid_from = models.DateField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    alcohol_low_percent__gt=0,
                    alcohol_high_percent__gte=F("alcohol_low_percent"),
                    alcohol_high_percent__lte=100,
                ),
                name="monitoring_washprotocol_alcohol_in_order",
            ),
            models.CheckConstraint(
                condition=Q(
                    volume_low_ml__gt=0,
                    volume_high_ml__gte=F("volume_low_ml"),
                    shake_low_s__gte=0,
                    shake_high_s__gte=F("shake_low_s"),
                    piece_low_cm__gt=0,
                    piece_high_cm__gte=F("piece_low_cm"),
                ),
                name="monitoring_washprotocol_rest_in_order",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "valid_from"], name="monitoring_protocol_in_force"
            )
        ]

    def __str__(self) -> str:
        return f"protocol from {self.valid_from}"

    @property
    def is_common_practice(self) -> bool:
        """Whether nobody of the group has stated it."""
        return self.pk is None


class WashBatch(models.Model):
    """Bags of one round that one person washed alike, one after the other.

    Never changed: a correction is a batch that supersedes, with who, when and why.
    """

    class State(models.TextChoices):
        """Whether it says how its bags were washed."""

        STANDS = "stands", "stands"
        SUPERSEDED = "superseded", "corrected"
        WITHDRAWN = "withdrawn", "withdrawn"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    round = models.ForeignKey(
        Round, models.PROTECT, db_constraint=False, related_name="wash_batches"
    )
    # 1 the first wash of its bags, 2 a repeat, and so on.
    number = models.PositiveSmallIntegerField(default=1)
    washed_on = models.DateField()
    # When it was begun, where somebody wrote down the time of day.
    washed_at = models.DateTimeField(null=True, blank=True)
    alcohol_percent = models.FloatField()
    volume_ml = models.FloatField()
    shake_s = models.FloatField()
    # None where nobody wrote it down.
    piece_cm = models.FloatField(null=True, blank=True)
    rinses = models.PositiveSmallIntegerField(null=True, blank=True)
    analyst = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    analyst_name = models.CharField(max_length=120)
    note = models.TextField(blank=True)
    # What it was held against; None is common practice. What departed is kept as told.
    protocol = models.ForeignKey(
        WashProtocol,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    departures = models.JSONField(default=list, blank=True)
    # Its bags as they were found: code, way, and whether the batch made the wash.
    bags = models.JSONField(default=list)
    supersedes = models.OneToOneField(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="superseded_by",
    )
    state = models.CharField(max_length=10, choices=State, default=State.STANDS)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    ended_why = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "wash batches"
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    number__gte=1,
                    alcohol_percent__gte=0,
                    alcohol_percent__lte=100,
                    volume_ml__gt=0,
                    shake_s__gte=0,
                )
                & (Q(piece_cm=None) | Q(piece_cm__gt=0)),
                name="monitoring_washbatch_values_possible",
            ),
            models.CheckConstraint(
                condition=Q(state="stands", ended_at=None, ended_why="")
                | (
                    Q(state__in=["superseded", "withdrawn"], ended_at__isnull=False)
                    & ~Q(ended_why="")
                ),
                name="monitoring_washbatch_ended_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"batch of {self.washed_on}"

    @property
    def stands(self) -> bool:
        """Whether it was neither corrected nor withdrawn."""
        return self.state == self.State.STANDS
