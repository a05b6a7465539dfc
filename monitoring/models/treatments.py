"""What was done to blocks against pests: treatments, and plots left untreated."""

from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import Block, FarmGroup, GroupQuerySet, User


class Treatment(models.Model):
    """One treatment of one or more blocks on a local date; never changed.

    A correction is a new row that supersedes, with who, when and why; a treatment
    that never was is superseded by a row that is withdrawn.
    """

    class Category(models.TextChoices):
        """Kinds of product, in general words."""

        SULFUR = "sulfur", "sulfur"
        OIL = "oil", "oil"
        ACARICIDE = "acaricide", "acaricide"
        INSECTICIDE = "insecticide", "insecticide"
        FUNGICIDE = "fungicide", "fungicide"
        BIOLOGICAL = "biological", "biological"
        OTHER = "other", "other"

    class RateUnit(models.TextChoices):
        """What a rate is counted in, as labels write it."""

        KG_PER_HA = "kg/ha", "kg per ha"
        G_PER_HA = "g/ha", "g per ha"
        L_PER_HA = "L/ha", "L per ha"
        ML_PER_HA = "mL/ha", "mL per ha"
        PERCENT = "percent", "percent of the spray"
        G_PER_HL = "g/hL", "g per 100 L of spray"
        ML_PER_HL = "mL/hL", "mL per 100 L of spray"
        LB_PER_ACRE = "lb/acre", "lb per acre"
        OZ_PER_ACRE = "oz/acre", "oz per acre"
        FL_OZ_PER_ACRE = "fl oz/acre", "US fl oz per acre"
        PINT_PER_ACRE = "pt/acre", "US pints per acre"
        QUART_PER_ACRE = "qt/acre", "US quarts per acre"
        GALLON_PER_ACRE = "gal/acre", "US gallons per acre"
        ANIMALS_PER_HA = "animals/ha", "animals per ha"
        ANIMALS_PER_VINE = "animals/vine", "animals per vine"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    treated_on = models.DateField()
    category = models.CharField(max_length=12, choices=Category)
    active_ingredient = models.CharField(max_length=120, blank=True)
    # Of the product, in `rate_unit`; both or neither.
    rate = models.FloatField(null=True, blank=True)
    rate_unit = models.CharField(max_length=12, choices=RateUnit, blank=True)
    # Who did it, as written: often not a member of the farm group.
    operator = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    recorded_at = models.DateTimeField(default=timezone.now, editable=False)
    recorded_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    supersedes = models.OneToOneField(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="correction",
    )
    # Why it was corrected; empty on a first record.
    reason = models.CharField(max_length=300, blank=True)
    # This row says that the treatment never was.
    withdrawn = models.BooleanField(default=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    category__in=[
                        "sulfur",
                        "oil",
                        "acaricide",
                        "insecticide",
                        "fungicide",
                        "biological",
                        "other",
                    ]
                ),
                name="monitoring_treatment_category_known",
            ),
            models.CheckConstraint(
                condition=Q(rate=None, rate_unit="")
                | (Q(rate__gt=0) & ~Q(rate_unit="")),
                name="monitoring_treatment_rate_has_unit",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None, reason="", withdrawn=False)
                | (Q(supersedes__isnull=False) & ~Q(reason="")),
                name="monitoring_treatment_correction_has_reason",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "treated_on"], name="monitoring_treatment_by_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.category} on {self.treated_on}"

    @property
    def rate_words(self) -> str:
        """The rate with its unit; empty where none was written."""
        if self.rate is None:
            return ""
        return f"{self.rate:g} {self.get_rate_unit_display()}"


class TreatedBlock(models.Model):
    """A block's part in a treatment: treated, or left untreated as its check."""

    class Part(models.TextChoices):
        """What the block is to the treatment."""

        TREATED = "treated", "treated"
        CHECK = "check", "left untreated as a check"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    treatment = models.ForeignKey(
        Treatment,
        models.PROTECT,
        db_constraint=False,
        related_name="parts",
        db_index=False,
    )
    block = models.ForeignKey(
        Block, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    part = models.CharField(max_length=7, choices=Part, default=Part.TREATED)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "treatment", "block"],
                name="monitoring_treatedblock_once",
            ),
            models.CheckConstraint(
                condition=Q(part__in=["treated", "check"]),
                name="monitoring_treatedblock_part_known",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "block"], name="monitoring_treatedblock_block"
            )
        ]

    def __str__(self) -> str:
        return f"block {self.block_id}, {self.part}"
