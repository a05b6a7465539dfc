"""Dishes that the site draws to count for practice, and what was counted in them."""

from uuid import uuid4

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Dish, Organism


class ReferenceDish(models.Model):
    """A drawn dish with known numbers; never changed, but it may be withdrawn."""

    class Clumping(models.TextChoices):
        """How the animals lie."""

        NONE = "none", "anywhere alike"
        SOME = "some", "half of them in clumps"
        STRONG = "strong", "all in clumps"

    class Debris(models.TextChoices):
        """How much else lies in the dish."""

        NONE = "none", "none"
        LITTLE = "little", "little"
        USUAL = "usual", "as usual"
        MUCH = "much", "much"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    dish = models.ForeignKey(
        Dish, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    magnification = models.FloatField()
    # Draws the picture again, always the same; never shown.
    seed = models.BigIntegerField()
    clumping = models.CharField(max_length=8, choices=Clumping)
    debris = models.CharField(max_length=8, choices=Debris)
    # What is to be counted, in the order of looking; empty is the whole dish.
    cells = ArrayField(models.CharField(max_length=6), default=list, blank=True)
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    made_by = models.ForeignKey(User, models.PROTECT, related_name="+", db_index=False)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    withdrawn_why = models.CharField(max_length=300, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "reference dishes"
        constraints = [
            models.CheckConstraint(
                condition=Q(magnification__gte=6, magnification__lte=100),
                name="monitoring_referencedish_magnification_plausible",
            ),
            models.CheckConstraint(
                condition=Q(clumping__in=["none", "some", "strong"])
                & Q(debris__in=["none", "little", "usual", "much"]),
                name="monitoring_referencedish_words_known",
            ),
            models.CheckConstraint(
                condition=Q(withdrawn_at=None, withdrawn_why="")
                | (Q(withdrawn_at__isnull=False) & ~Q(withdrawn_why="")),
                name="monitoring_referencedish_withdrawn_with_reason",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "-made_at"],
                name="monitoring_referencedish_new",
            )
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def name(self) -> str:
        """A short name to tell it by; it says nothing of what is in the dish."""
        return f"R-{self.uuid.hex[:4].upper()}"

    @property
    def stands(self) -> bool:
        """Whether it was not withdrawn."""
        return self.withdrawn_at is None


class ReferenceContent(models.Model):
    """How many of an organism lie in a reference dish; none is 0, not no row."""

    class Look(models.TextChoices):
        """How the organism is drawn; the drawing room knows the shapes."""

        WEDGE = "wedge", "wedge with two pairs of legs, 0.2 mm"
        PEAR = "pear", "pear with four pairs of legs, 0.4 mm"
        ROUND = "round", "round body with two spots, 0.5 mm"
        LONG = "long", "long ringed body, 1 mm"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    reference = models.ForeignKey(
        ReferenceDish,
        models.PROTECT,
        db_constraint=False,
        related_name="contents",
        db_index=False,
    )
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    look = models.CharField(max_length=8, choices=Look)
    asked = models.PositiveIntegerField()
    number = models.PositiveIntegerField()
    # Of them so many lie in the cells to be counted; all, where that is the whole dish.
    number_to_find = models.PositiveIntegerField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "reference", "organism"],
                name="monitoring_referencecontent_organism_once",
            ),
            models.UniqueConstraint(
                fields=["farm_group", "reference", "look"],
                name="monitoring_referencecontent_look_once",
            ),
            models.CheckConstraint(
                condition=Q(look__in=["wedge", "pear", "round", "long"]),
                name="monitoring_referencecontent_look_known",
            ),
            models.CheckConstraint(
                condition=Q(number_to_find__lte=F("number")),
                name="monitoring_referencecontent_part_of_all",
            ),
        ]

    def __str__(self) -> str:
        return f"organism {self.organism_id} in reference {self.reference_id}"


class ReferenceReading(models.Model):
    """One person's count of a reference dish, once and for all; only added to."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    reference = models.ForeignKey(
        ReferenceDish,
        models.PROTECT,
        db_constraint=False,
        related_name="readings",
        db_index=False,
    )
    reader = models.ForeignKey(User, models.PROTECT, related_name="+", db_index=False)
    magnification = models.FloatField()
    # When it was handed in; how long it took is nobody's business.
    counted_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "reference", "reader"],
                name="monitoring_referencereading_once",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "reader"],
                name="monitoring_refreading_of",
            )
        ]

    def __str__(self) -> str:
        return f"reading {self.pk} of reference {self.reference_id}"


class ReferenceCount(models.Model):
    """What a person counted of one organism in a reference dish."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    reading = models.ForeignKey(
        ReferenceReading,
        models.PROTECT,
        db_constraint=False,
        related_name="counts",
        db_index=False,
    )
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+", db_index=False
    )
    count = models.PositiveIntegerField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "reading", "organism"],
                name="monitoring_referencecount_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.count} in reading {self.reading_id}"


class SeniorCounter(models.Model):
    """Against whose recounts others are held, from when it was said; only added to.

    Nobody named is anybody: recounts are held against the other reader.
    """

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    person = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    chosen_at = models.DateTimeField(default=timezone.now, editable=False)
    chosen_by = models.ForeignKey(
        User, models.PROTECT, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "-chosen_at"],
                name="monitoring_seniorcounter_new",
            )
        ]

    def __str__(self) -> str:
        return f"senior counter {self.person_id}"
