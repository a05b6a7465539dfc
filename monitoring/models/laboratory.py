"""How a farm group's laboratory works: organisms, dishes, scales, recoveries."""

from uuid import uuid4

from django.contrib.postgres.fields import ArrayField
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User


class Tissue(models.TextChoices):
    """What lies in a bag; tissues never share a recovery or a k."""

    LEAF = "leaf", "leaf"
    SHOOT = "shoot", "shoot"
    BUD = "bud", "bud"


class Organism(models.Model):
    """An organism that the group counts."""

    class Role(models.TextChoices):
        """What the organism is to the vine."""

        PEST = "pest", "pest"
        PREDATOR = "predator", "predator"
        OTHER = "other", "other"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    # The name of its column in count sheets.
    code = models.CharField(
        max_length=40,
        validators=[
            RegexValidator(
                r"^[a-z][a-z0-9_]*$",
                "Use small letters, digits and underscores, beginning with a letter.",
            )
        ],
    )
    name = models.CharField(max_length=80)
    role = models.CharField(max_length=10, choices=Role)
    # Order on pages and in sheets; also picks the mark and colour of charts.
    position = models.PositiveSmallIntegerField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "code"], name="monitoring_organism_code_in_group"
            ),
            models.UniqueConstraint(
                fields=["farm_group", "position"],
                name="monitoring_organism_position_in_group",
                deferrable=models.Deferrable.DEFERRED,
            ),
            models.CheckConstraint(
                condition=Q(role__in=["pest", "predator", "other"]),
                name="monitoring_organism_role_known",
            ),
            models.CheckConstraint(
                condition=~Q(code__endswith="_cells"),
                name="monitoring_organism_code_not_cells",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Dish(models.Model):
    """A gridded counting dish, described once; a changed dish is another dish."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    name = models.CharField(max_length=60)
    inner_diameter_mm = models.FloatField()
    pitch_mm = models.FloatField()
    offset_x_mm = models.FloatField(default=0.0)
    offset_y_mm = models.FloatField(default=0.0)
    is_usual = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "name"], name="monitoring_dish_name_in_group"
            ),
            models.UniqueConstraint(
                fields=["farm_group"],
                condition=Q(is_usual=True),
                name="monitoring_dish_one_usual",
            ),
            models.CheckConstraint(
                condition=Q(inner_diameter_mm__gte=20, inner_diameter_mm__lte=500),
                name="monitoring_dish_diameter_plausible",
            ),
            models.CheckConstraint(
                condition=Q(pitch_mm__gte=1, pitch_mm__lte=F("inner_diameter_mm")),
                name="monitoring_dish_pitch_plausible",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SymptomScale(models.Model):
    """The scores by which the group judges leaf symptoms, from a date on."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    lowest = models.SmallIntegerField(default=0)
    highest = models.SmallIntegerField(default=4)
    # What each score is called, from the lowest; empty where they have no names.
    level_names = ArrayField(models.CharField(max_length=60), default=list, blank=True)
    wording = models.TextField(blank=True)
    valid_from = models.DateField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "valid_from"],
                name="monitoring_symptomscale_one_a_day",
            ),
            models.CheckConstraint(
                condition=Q(lowest__lt=F("highest")),
                name="monitoring_symptomscale_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lowest} to {self.highest}"

    @property
    def levels(self) -> list[tuple[int, str]]:
        """Each score with its name, from the lowest; the name may be empty."""
        names = dict(enumerate(self.level_names, start=self.lowest))
        return [
            (score, names.get(score, ""))
            for score in range(self.lowest, self.highest + 1)
        ]


class CanopyWeight(models.Model):
    """The share of a canopy's leaves that stand in one position, from a date on."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    position = models.CharField(max_length=20)
    share = models.FloatField()
    valid_from = models.DateField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "position", "valid_from"],
                name="monitoring_canopyweight_one_a_day",
            ),
            models.CheckConstraint(
                condition=Q(share__gte=0, share__lte=1),
                name="monitoring_canopyweight_is_share",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.position} {self.share:g}"


class Recovery(models.Model):
    """The share of animals that one wash brings off: a beta, or a fixed value.

    Rows are never changed: a newer `valid_from` takes over from its date on.
    """

    class Origin(models.TextChoices):
        """Where the figures come from."""

        COMMON_PRACTICE = "common_practice", "common practice"
        PUBLISHED = "published", "published work"
        UNMEASURED = "unmeasured", "unmeasured, as for rust mites"
        REPEAT_WASHES = "repeat_washes", "the laboratory's repeat washes"
        SPIKES = "spikes", "the laboratory's spiked samples"
        CALIBRATION = "calibration", "the laboratory's washes and spiked samples"
        STATED = "stated", "stated by the coordinator"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="recoveries"
    )
    tissue = models.CharField(max_length=10, choices=Tissue)
    alpha = models.FloatField(null=True, blank=True)
    beta = models.FloatField(null=True, blank=True)
    fixed_value = models.FloatField(null=True, blank=True)
    origin = models.CharField(max_length=20, choices=Origin)
    note = models.CharField(max_length=300, blank=True)
    # The calibration runs it was pooled from, as they stood then; empty for others.
    basis = models.JSONField(default=dict, blank=True)
    valid_from = models.DateField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=(
                    Q(alpha__gt=0, beta__gt=0, fixed_value=None)
                    | Q(
                        alpha=None,
                        beta=None,
                        fixed_value__gt=0,
                        fixed_value__lte=1,
                    )
                ),
                name="monitoring_recovery_beta_or_fixed",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "organism", "tissue", "valid_from"],
                name="monitoring_recovery_in_force",
            )
        ]

    def __str__(self) -> str:
        if self.fixed_value is not None:
            return f"{self.fixed_value:g}"
        return f"Beta({self.alpha:g}, {self.beta:g})"


class RatioSetting(models.Model):
    """Whether predators and prey are taken to come off a leaf alike, from a date on.

    Rows are never changed: a newer `valid_from`, then a newer row, takes over.
    """

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    recoveries_shared = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)
    valid_from = models.DateField()
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "valid_from"],
                name="monitoring_ratiosetting_since",
            )
        ]

    def __str__(self) -> str:
        return "shared" if self.recoveries_shared else "independent"
