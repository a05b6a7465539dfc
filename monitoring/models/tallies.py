"""What was counted of one organism in one dish."""

from uuid import uuid4

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.bench import BenchReading
from monitoring.models.laboratory import Dish, Organism
from monitoring.models.samples import Wash
from monitoring.models.sheets import Sheet


class Tally(models.Model):
    """A count of one organism in one dish; never changed, only superseded.

    `count` is None exactly when the analyst found the dish not countable. An
    organism that was not counted has no tally at all.
    """

    class Scope(models.TextChoices):
        """Which part of the dish was looked at."""

        WHOLE = "whole", "whole dish"
        RANDOM_CELLS = "random_cells", "a number of random cells"
        NAMED_CELLS = "named_cells", "named cells"

    class Outcome(models.TextChoices):
        """Whether there is a figure."""

        COUNTED = "counted", "counted"
        UNCOUNTABLE = "uncountable", "uncountable"

    class State(models.TextChoices):
        """Whether the tally stands."""

        PUBLISHED = "published", "published"
        SUPERSEDED = "superseded", "superseded"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    wash = models.ForeignKey(
        Wash,
        models.PROTECT,
        db_constraint=False,
        related_name="tallies",
        db_index=False,
    )
    organism = models.ForeignKey(
        Organism,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    dish = models.ForeignKey(
        Dish, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    dish_number = models.PositiveSmallIntegerField(default=1)
    reading = models.PositiveSmallIntegerField(default=1)
    scope = models.CharField(max_length=12, choices=Scope)
    cells_counted = models.PositiveSmallIntegerField(null=True, blank=True)
    # Share of the dish's area (named cells) or of its cells (random cells); 0 to 1.
    proportion_counted = models.FloatField(default=1.0)
    outcome = models.CharField(max_length=11, choices=Outcome, default=Outcome.COUNTED)
    count = models.PositiveIntegerField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.PUBLISHED)
    # Whether this reading makes the density; one a wash, organism and dish.
    chosen = models.BooleanField(default=True)
    supersedes = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="superseded_by",
        db_index=False,
    )
    reason = models.CharField(max_length=300, blank=True)
    # A tally comes from a sheet's row or from a reading at the bench.
    source_sheet = models.ForeignKey(
        Sheet,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="tallies",
        db_index=False,
    )
    source_row = models.PositiveIntegerField(null=True, blank=True)
    source_reading = models.ForeignKey(
        BenchReading,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="tallies",
        db_index=False,
    )
    # Whether its counter was not shown what others had counted in the dish.
    blind = models.BooleanField(default=False, db_default=False)
    magnification = models.FloatField(null=True, blank=True)
    # Where the dish was counted in two stages: how many of the cells, in the order
    # kept, were the first stage, and the dish's total by both.
    pilot_cells = models.PositiveSmallIntegerField(null=True, blank=True)
    animals_in_dish = models.FloatField(null=True, blank=True)
    analyst = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    analyst_name = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "tallies"
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "wash", "organism", "dish_number", "reading"],
                condition=Q(state="published"),
                name="monitoring_tally_one_published",
            ),
            models.UniqueConstraint(
                fields=["farm_group", "wash", "organism", "dish_number"],
                condition=Q(state="published", chosen=True),
                name="monitoring_tally_one_chosen",
            ),
            models.CheckConstraint(
                condition=Q(outcome="counted", count__isnull=False)
                | Q(outcome="uncountable", count=None),
                name="monitoring_tally_count_unless_uncountable",
            ),
            models.CheckConstraint(
                condition=Q(scope="whole", cells_counted=None, proportion_counted=1.0)
                | Q(
                    scope__in=["random_cells", "named_cells"],
                    cells_counted__gte=1,
                    proportion_counted__gt=0,
                    proportion_counted__lte=1,
                ),
                name="monitoring_tally_scope_and_cells_agree",
            ),
            models.CheckConstraint(
                condition=Q(
                    source_sheet__isnull=False,
                    source_row__isnull=False,
                    source_reading=None,
                )
                | Q(
                    source_sheet=None,
                    source_row=None,
                    source_reading__isnull=False,
                ),
                name="monitoring_tally_one_source",
            ),
            models.CheckConstraint(
                condition=Q(pilot_cells=None, animals_in_dish=None)
                | Q(
                    scope="named_cells",
                    outcome="counted",
                    pilot_cells__gte=1,
                    pilot_cells__lt=F("cells_counted"),
                    animals_in_dish__gte=F("count"),
                ),
                name="monitoring_tally_two_stages_whole",
            ),
            models.CheckConstraint(
                condition=Q(reading__gte=1, dish_number__gte=1),
                name="monitoring_tally_numbers_from_one",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("id")),
                name="monitoring_tally_not_its_own_past",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "source_sheet"], name="monitoring_tally_by_sheet"
            ),
            models.Index(
                fields=["farm_group", "source_reading"],
                condition=Q(source_reading__isnull=False),
                name="monitoring_tally_by_reading",
            ),
            # Recounts are few among many tallies; the newest are asked for.
            models.Index(
                fields=["farm_group", "organism", "id"],
                condition=Q(reading__gt=1, state="published"),
                name="monitoring_tally_recounts",
            ),
        ]

    def __str__(self) -> str:
        return f"tally {self.pk}"

    @property
    def share_of_animals(self) -> float:
        """The share of the dish's animals that the count is taken for; 0 to 1.

        Of a dish counted in two stages it follows from the total, which is unbiased
        where the share of the area is not; else it is the share looked at.
        """
        if not self.count or not self.animals_in_dish:
            return self.proportion_counted
        return self.count / self.animals_in_dish


class CellCount(models.Model):
    """The detail of a tally: one cell of the dish."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    tally = models.ForeignKey(
        Tally,
        models.PROTECT,
        db_constraint=False,
        related_name="cell_counts",
        db_index=False,
    )
    cell = models.CharField(max_length=6)
    # None when the sheet names the cell without its own count.
    count = models.PositiveIntegerField(null=True, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "tally", "cell"],
                name="monitoring_cellcount_once_in_tally",
            )
        ]

    def __str__(self) -> str:
        return f"cell {self.cell}"
