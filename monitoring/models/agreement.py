"""What checks the counting itself: blank washes, and the agreement a lab asks for."""

from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Dish, Organism
from monitoring.models.samples import Wash
from monitoring.models.sheets import Sheet
from monitoring.models.tallies import Tally


class BlankWash(models.Model):
    """A wash with no bag's animals, made to see what is carried over.

    Never changed or deleted: one that was written down wrongly is withdrawn, with who,
    when and why.
    """

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    # Unique on its day; labs number blanks from 1 again, as they do bags.
    code = models.CharField(max_length=40)
    washed_on = models.DateField()
    # The wash just before it in the same vessel; None where that is not known.
    after = models.ForeignKey(
        Wash,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="blanks_after",
    )
    dish = models.ForeignKey(
        Dish, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    analyst = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    analyst_name = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    source_sheet = models.ForeignKey(
        Sheet,
        models.PROTECT,
        db_constraint=False,
        related_name="blanks",
        db_index=False,
    )
    source_row = models.PositiveIntegerField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    withdrawn_why = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "blank washes"
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "washed_on", "code"],
                condition=Q(withdrawn_at=None),
                name="monitoring_blankwash_code_on_day",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_why="")
                | (Q(withdrawn_at__isnull=False) & ~Q(withdrawn_why="")),
                name="monitoring_blankwash_withdrawn_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"blank {self.code}"


class BlankCount(models.Model):
    """What was found of one organism in a blank wash; not counted is no row."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    blank = models.ForeignKey(
        BlankWash,
        models.PROTECT,
        db_constraint=False,
        related_name="counts",
        db_index=False,
    )
    organism = models.ForeignKey(
        Organism,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    scope = models.CharField(max_length=12, choices=Tally.Scope)
    cells_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    proportion_counted = models.FloatField(default=1.0)
    count = models.PositiveIntegerField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "blank", "organism"],
                name="monitoring_blankcount_once_in_blank",
            ),
            models.CheckConstraint(
                condition=Q(scope="whole", cells_counted=None, proportion_counted=1.0)
                | Q(
                    scope__in=["random_cells", "named_cells"],
                    cells_counted__gte=1,
                    proportion_counted__gt=0,
                    proportion_counted__lte=1,
                ),
                name="monitoring_blankcount_scope_and_cells_agree",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} in blank {self.blank_id}"


class AgreementStandard(models.Model):
    """The agreement between counters that the lab asks for, from a date on.

    Rows are never changed: a newer one takes over from its date on.
    """

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    # Lin's coefficient must be at least this.
    least_concordance = models.FloatField()
    # 95 in 100 second readings must be within this many times the first, or 1 over it.
    widest_ratio = models.FloatField()
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
                condition=Q(least_concordance__gt=0, least_concordance__lt=1),
                name="monitoring_agreementstandard_is_coefficient",
            ),
            models.CheckConstraint(
                condition=Q(widest_ratio__gt=1, widest_ratio__lte=100),
                name="monitoring_agreementstandard_is_ratio",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "valid_from"],
                name="monitoring_standard_in_force",
            )
        ]

    def __str__(self) -> str:
        return f"{self.least_concordance:g}, {self.widest_ratio:g} times"
