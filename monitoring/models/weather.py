"""Daily weather of farms as it was measured, and how degree-days are summed."""

from uuid import uuid4

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import Farm, FarmGroup, GroupQuerySet, User
from monitoring.models.samples import Round

# Outside of these no thermometer in the open has stood: the recognised extremes are
# -89.2 and 56.7 degrees C (World Meteorological Organization's archive, from memory).
COLDEST_C, HOTTEST_C = -90.0, 60.0


class WeatherStation(models.Model):
    """Where a farm's weather is measured; the usual one makes its degree-days."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    farm = models.ForeignKey(
        Farm, models.PROTECT, db_constraint=False, related_name="weather_stations"
    )
    name = models.CharField(max_length=60)
    is_usual = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "farm", "name"],
                name="monitoring_weatherstation_name_in_farm",
            ),
            models.UniqueConstraint(
                fields=["farm_group", "farm"],
                condition=Q(is_usual=True),
                name="monitoring_weatherstation_one_usual",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WeatherUpload(models.Model):
    """An uploaded file of daily weather, kept as it came, with what was found in it."""

    class State(models.TextChoices):
        """From the upload to the publication."""

        READ = "read", "read"
        REFUSED = "refused", "could not be read"
        PUBLISHED = "published", "published"
        DISCARDED = "discarded", "put aside"

    class Unit(models.TextChoices):
        """What the file's temperatures are in; asked, never guessed."""

        CELSIUS = "C", "degrees Celsius"
        FAHRENHEIT = "F", "degrees Fahrenheit"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    station = models.ForeignKey(
        WeatherStation, models.PROTECT, db_constraint=False, related_name="uploads"
    )
    file_name = models.CharField(max_length=255)
    stored_name = models.CharField(max_length=100)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    unit = models.CharField(max_length=1, choices=Unit)
    state = models.CharField(max_length=10, choices=State, default=State.READ)
    # The person's answers to the file's questions, by the question's key.
    answers = models.JSONField(default=dict)
    preview = models.JSONField(default=dict)
    uploaded_at = models.DateTimeField(default=timezone.now, editable=False)
    uploaded_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    published_at = models.DateTimeField(null=True, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            # The same file is published once for a station, whoever is first.
            models.UniqueConstraint(
                fields=["farm_group", "station", "sha256", "unit"],
                condition=Q(state="published"),
                name="monitoring_weatherupload_published_once",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "station", "-uploaded_at"],
                name="monitoring_weather_newest",
            )
        ]

    def __str__(self) -> str:
        return self.file_name


class WeatherDay(models.Model):
    """The lowest and highest air temperature of one local day at one station.

    A correction is a new row that supersedes; nothing is overwritten.
    """

    class Quality(models.TextChoices):
        """How far the day's figures are to be trusted."""

        MEASURED = "measured", "measured"
        ESTIMATED = "estimated", "estimated"
        DOUBTFUL = "doubtful", "doubtful"
        MISSING = "missing", "missing"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    station = models.ForeignKey(
        WeatherStation,
        models.PROTECT,
        db_constraint=False,
        related_name="days",
        db_index=False,
    )
    measured_on = models.DateField()
    minimum_deg_c = models.FloatField(null=True, blank=True)
    maximum_deg_c = models.FloatField(null=True, blank=True)
    quality = models.CharField(max_length=10, choices=Quality)
    source_upload = models.ForeignKey(
        WeatherUpload, models.PROTECT, db_constraint=False, related_name="days"
    )
    # The row's number in the file, as a spreadsheet shows it.
    source_row = models.PositiveIntegerField()
    supersedes = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
    )
    is_current = models.BooleanField(default=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "station", "measured_on"],
                condition=Q(is_current=True),
                name="monitoring_weatherday_one_current",
            ),
            models.CheckConstraint(
                condition=Q(quality="missing", minimum_deg_c=None, maximum_deg_c=None)
                | Q(
                    quality__in=["measured", "estimated", "doubtful"],
                    minimum_deg_c__isnull=False,
                    maximum_deg_c__isnull=False,
                    minimum_deg_c__gte=COLDEST_C,
                    maximum_deg_c__lte=HOTTEST_C,
                    minimum_deg_c__lte=F("maximum_deg_c"),
                ),
                name="monitoring_weatherday_both_or_missing",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("id")),
                name="monitoring_weatherday_not_its_own_past",
            ),
        ]

    def __str__(self) -> str:
        return f"weather of {self.measured_on}"


class DegreeDayRule(models.Model):
    """How a farm's degree-days are summed, from a start date on.

    Rows are never changed: the newest row for a start date holds. The start comes
    again each year until a later row gives another.
    """

    class Method(models.TextChoices):
        """How a day's course of temperature is drawn between its two figures."""

        AVERAGE = "average", "average of minimum and maximum"
        SINGLE_TRIANGLE = "single_triangle", "single triangle"
        SINGLE_SINE = "single_sine", "single sine"
        DOUBLE_SINE = "double_sine", "double sine"

    class Cutoff(models.TextChoices):
        """What happens above the upper threshold."""

        HORIZONTAL = "horizontal", "horizontal: no faster above the upper threshold"
        VERTICAL = "vertical", "vertical: stands still above it"
        INTERMEDIATE = "intermediate", "intermediate: slows down again above it"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    farm = models.ForeignKey(
        Farm, models.PROTECT, db_constraint=False, related_name="degree_day_rules"
    )
    starts_on = models.DateField()
    method = models.CharField(max_length=16, choices=Method)
    cutoff = models.CharField(max_length=12, choices=Cutoff)
    lower_deg_c = models.FloatField()
    upper_deg_c = models.FloatField(null=True, blank=True)
    reason = models.CharField(max_length=300)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(upper_deg_c=None) | Q(upper_deg_c__gt=F("lower_deg_c")),
                name="monitoring_degreedayrule_thresholds_in_order",
            ),
            models.CheckConstraint(
                condition=~Q(method="average") | Q(cutoff="horizontal"),
                name="monitoring_degreedayrule_average_horizontal",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "farm", "starts_on", "id"],
                name="monitoring_ddrule_in_force",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} from {self.starts_on}"


class GrowthStageChange(models.Model):
    """A growth stage that somebody gave a round on its page; empty if taken away."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    round = models.ForeignKey(
        Round, models.PROTECT, db_constraint=False, related_name="stage_changes"
    )
    stage_before = models.CharField(max_length=8, blank=True)
    stage_after = models.CharField(max_length=8, blank=True)
    changed_at = models.DateTimeField(default=timezone.now, editable=False)
    changed_by = models.ForeignKey(
        User, models.PROTECT, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        ordering = ["changed_at", "pk"]

    def __str__(self) -> str:
        return f"{self.stage_before or 'none'} to {self.stage_after or 'none'}"
