"""Rounds as they are planned: how many bags, from which vines, how often."""

from uuid import uuid4

from django.contrib.gis.db.models import PointField
from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import (
    Block,
    BlockBoundary,
    FarmGroup,
    GroupQuerySet,
    Membership,
    User,
)
from monitoring.models.laboratory import Organism, Tissue
from monitoring.models.samples import Round


class RoundPlan(models.Model):
    """A round that is to be walked, with all that its sample points follow from.

    It is no round yet: the block's round of the day is made with its first bag, so that
    a plan shows in no density, queue or alert.
    """

    class Method(models.TextChoices):
        """How the vines were chosen."""

        BALANCED = "balanced", "spread evenly"
        RANDOM = "random", "plain random"
        SAME = "same", "the same vines again"

    class Aim(models.TextChoices):
        """What the number of bags is for."""

        PRECISION = "precision", "a precision"
        THRESHOLD = "threshold", "above or below the threshold"
        STATED = "stated", "a number that you state"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    block = models.ForeignKey(
        Block, models.PROTECT, db_constraint=False, related_name="plans", db_index=False
    )
    planned_on = models.DateField()
    tissue = models.CharField(max_length=10, choices=Tissue)
    growth_scale = models.CharField(max_length=4, choices=Round.GrowthScale, blank=True)
    growth_code = models.CharField(max_length=3, blank=True)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    aim = models.CharField(max_length=10, choices=Aim)
    # Why so many bags, in the words that the planner read.
    basis = models.TextField(blank=True)
    minutes_per_bag = models.FloatField()
    # The boundary, seed and rows from which the same points are drawn again.
    boundary = models.ForeignKey(
        BlockBoundary,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    method = models.CharField(max_length=10, choices=Method)
    same_as = models.ForeignKey(
        "self", models.PROTECT, null=True, db_constraint=False, related_name="+"
    )
    seed = models.PositiveIntegerField()
    buffer_m = models.FloatField()
    # Rows to which points were moved; direction and spacings all stand or none.
    row_direction_deg = models.FloatField(null=True, blank=True)
    row_spacing_m = models.FloatField(null=True, blank=True)
    vine_spacing_m = models.FloatField(null=True, blank=True)
    # Bags by canopy position, in their order: [["low", 5], ["mid", 5], ...].
    strata = models.JSONField()
    planned_at = models.DateTimeField(default=timezone.now, editable=False)
    planned_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "block", "planned_on", "tissue"],
                condition=Q(withdrawn_at=None),
                name="monitoring_roundplan_one_a_day",
            ),
            models.CheckConstraint(
                condition=Q(growth_scale="", growth_code="")
                | (Q(growth_scale__in=["BBCH", "EL"]) & ~Q(growth_code="")),
                name="monitoring_roundplan_growth_stage_whole",
            ),
            models.CheckConstraint(
                condition=Q(minutes_per_bag__gt=0, buffer_m__gte=0),
                name="monitoring_roundplan_amounts_plausible",
            ),
            models.CheckConstraint(
                condition=Q(method="same", same_as__isnull=False)
                | Q(method__in=["balanced", "random"], same_as=None),
                name="monitoring_roundplan_method_known",
            ),
            models.CheckConstraint(
                condition=Q(
                    row_direction_deg=None, row_spacing_m=None, vine_spacing_m=None
                )
                | Q(
                    row_direction_deg__isnull=False,
                    row_spacing_m__gt=0,
                    vine_spacing_m__gt=0,
                ),
                name="monitoring_roundplan_rows_whole",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "block", "-planned_on"],
                name="monitoring_roundplan_by_block",
            )
        ]

    def __str__(self) -> str:
        return f"round planned for {self.planned_on}"

    @property
    def growth_stage(self) -> str:
        """The stage as written in sheets, e.g. “BBCH 75”; empty if unknown."""
        return f"{self.growth_scale} {self.growth_code}".strip()

    @property
    def bags(self) -> int:
        """How many bags it takes, a bag at each point."""
        return sum(count for _, count in self.strata)

    @property
    def bench_minutes(self) -> float:
        """How long its bags keep the bench."""
        return float(self.bags * self.minutes_per_bag)


class SamplePoint(models.Model):
    """One vine of a plan: a bag from one canopy position; never moved."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    plan = models.ForeignKey(
        RoundPlan,
        models.CASCADE,
        db_constraint=False,
        related_name="points",
        db_index=False,
    )
    # Its place in the walk, from 1.
    number = models.PositiveSmallIntegerField()
    # Its place in the draw, from 1: the first few of a draw are spread evenly too.
    drawn = models.PositiveSmallIntegerField()
    position = models.CharField(max_length=20, blank=True)
    point = PointField(srid=4326)

    objects = GroupQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "plan", "number"],
                name="monitoring_samplepoint_number_once",
            ),
            models.CheckConstraint(
                condition=Q(number__gte=1, drawn__gte=1),
                name="monitoring_samplepoint_from_one",
            ),
        ]

    def __str__(self) -> str:
        return f"point {self.number}"


class RoundSetting(models.Model):
    """How often rounds are walked and how long a bag takes, by group or block.

    The row without a block holds for the group; a block's own goes before it.
    """

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    block = models.ForeignKey(
        Block,
        models.PROTECT,
        null=True,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    interval_days = models.PositiveSmallIntegerField(null=True, blank=True)
    # Of the bench, for a bag: washing, pouring, counting. Of the group only.
    minutes_per_bag = models.FloatField(null=True, blank=True)
    changed_at = models.DateTimeField(default=timezone.now)
    changed_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "block"],
                nulls_distinct=False,
                name="monitoring_roundsetting_one_a_block",
            ),
            models.CheckConstraint(
                condition=Q(interval_days=None)
                | Q(interval_days__gte=1, interval_days__lte=366),
                name="monitoring_roundsetting_interval_plausible",
            ),
            models.CheckConstraint(
                condition=Q(minutes_per_bag=None)
                | Q(minutes_per_bag__gt=0, minutes_per_bag__lte=600, block=None),
                name="monitoring_roundsetting_minutes_plausible",
            ),
        ]

    def __str__(self) -> str:
        return f"a round every {self.interval_days} days"


class CalendarFeed(models.Model):
    """A member's secret address of rounds due; a new secret ends the old address."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    membership = models.OneToOneField(
        Membership, models.CASCADE, db_constraint=False, related_name="calendar_feed"
    )
    secret = models.UUIDField(default=uuid4)
    made_at = models.DateTimeField(default=timezone.now)

    objects = GroupQuerySet.as_manager()

    def __str__(self) -> str:
        return f"calendar of membership {self.membership_id}"
