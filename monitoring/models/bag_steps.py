"""A bag's way, step by step, and what a farm group sets for its bags."""

from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.samples import Bag


class BagStep(models.Model):
    """One step of a bag's way, with who and when; only added to."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    bag = models.ForeignKey(
        Bag, models.PROTECT, db_constraint=False, related_name="steps", db_index=False
    )
    # Where it stood before; empty where the bag was made.
    before = models.CharField(max_length=10, choices=Bag.Way, blank=True)
    way = models.CharField(max_length=10, choices=Bag.Way)
    note = models.CharField(max_length=300, blank=True)
    noted_at = models.DateTimeField(default=timezone.now, editable=False)
    noted_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    way__in=[
                        "planned",
                        "collected",
                        "received",
                        "washed",
                        "counted",
                        "reported",
                        "lost",
                    ]
                ),
                name="monitoring_bagstep_way_known",
            ),
            models.CheckConstraint(
                condition=~Q(before=models.F("way")),
                name="monitoring_bagstep_goes_somewhere",
            ),
        ]
        indexes = [
            models.Index(fields=["farm_group", "bag"], name="monitoring_bagstep_of_bag")
        ]

    def __str__(self) -> str:
        return f"bag {self.bag_id} {self.way}"


class BagSetting(models.Model):
    """How a farm group prints its labels, and how long its bags may wait."""

    class Paper(models.TextChoices):
        """What labels are printed on: columns by rows, and the size of a label."""

        A4_21 = "a4-21", "A4, 3 by 7 labels of 63.5 by 38.1 mm"
        A4_24 = "a4-24", "A4, 3 by 8 labels of 70 by 37 mm"
        A4_65 = "a4-65", "A4, 5 by 13 labels of 38.1 by 21.2 mm"
        LETTER_30 = "letter-30", "Letter, 3 by 10 labels of 2 5/8 by 1 inch"
        LETTER_10 = "letter-10", "Letter, 2 by 5 labels of 4 by 2 inches"
        ROLL = "roll", "roll, one label after the other"

    farm_group = models.OneToOneField(FarmGroup, models.PROTECT)
    paper = models.CharField(max_length=12, choices=Paper, default=Paper.A4_21)
    roll_width_mm = models.FloatField(default=57.0)
    roll_height_mm = models.FloatField(default=32.0)
    # Common practice: leaves are kept cool and washed within about three days; what
    # was washed off keeps in its alcohol for about a week.
    wash_within_days = models.PositiveSmallIntegerField(default=3)
    count_within_days = models.PositiveSmallIntegerField(default=7)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(roll_width_mm__gte=30, roll_width_mm__lte=110)
                & Q(roll_height_mm__gte=20, roll_height_mm__lte=110),
                name="monitoring_bagsetting_roll_fits_bag",
            ),
            models.CheckConstraint(
                condition=Q(wash_within_days__gte=1, count_within_days__gte=1),
                name="monitoring_bagsetting_days_from_one",
            ),
        ]

    def __str__(self) -> str:
        return f"labels on {self.paper}"
