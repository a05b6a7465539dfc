"""Densities and ratios as computed, each with what it used, and what is to be done."""

from uuid import uuid4

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet
from monitoring.models.laboratory import Organism, Tissue
from monitoring.models.samples import Round


class Figure(models.Model):
    """What densities and ratios have in common: a posterior and its origin."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    tissue = models.CharField(max_length=10, choices=Tissue)
    median = models.FloatField(null=True)
    low = models.FloatField(null=True)
    # None while `median` is set: these bags give no upper limit.
    high = models.FloatField(null=True)
    # At estimation.PROBABILITIES, in that order; empty when nothing could be said.
    quantiles = ArrayField(models.FloatField(), default=list)
    # Why there is no figure, or what bounds it, in words; empty otherwise.
    reason = models.CharField(max_length=300, blank=True)
    bags_used = models.PositiveIntegerField()
    # Uncountable bags were left out: the true value is this or more.
    at_least = models.BooleanField(default=False)
    method = models.CharField(max_length=40)
    method_version = models.CharField(max_length=20)
    # Counts aside, everything the method was given: recovery, prior, weights.
    used = models.JSONField(default=dict)
    inputs_digest = models.CharField(max_length=64)
    computed_at = models.DateTimeField(default=timezone.now)
    is_current = models.BooleanField(default=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        abstract = True


class Density(Figure):
    """Animals per leaf, shoot or bud of one round; newer rows supersede.

    `stratum` is a canopy position, or empty for the round as a whole.
    """

    round = models.ForeignKey(
        Round,
        models.PROTECT,
        db_constraint=False,
        related_name="densities",
        db_index=False,
    )
    organism = models.ForeignKey(
        Organism,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    stratum = models.CharField(max_length=20, blank=True)
    k_median = models.FloatField(null=True)
    sample_mean = models.FloatField(null=True)
    bags_missing = models.PositiveIntegerField(default=0)
    bags_uncountable = models.PositiveIntegerField(default=0)

    class Meta(Figure.Meta):
        verbose_name_plural = "densities"
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "round", "tissue", "organism", "stratum"],
                condition=Q(is_current=True),
                name="monitoring_density_one_current",
            ),
        ]
        indexes = [
            models.Index(fields=["farm_group", "id"], name="monitoring_density_newest")
        ]

    def __str__(self) -> str:
        return f"density {self.pk}"


class Ratio(Figure):
    """Predators per prey of one round; newer rows supersede."""

    round = models.ForeignKey(
        Round,
        models.PROTECT,
        db_constraint=False,
        related_name="ratios",
        db_index=False,
    )
    predator = models.ForeignKey(
        Organism,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    prey = models.ForeignKey(
        Organism,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )

    class Meta(Figure.Meta):
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "round", "tissue", "predator", "prey"],
                condition=Q(is_current=True),
                name="monitoring_ratio_one_current",
            ),
        ]

    def __str__(self) -> str:
        return f"ratio {self.pk}"


class RoundChange(models.Model):
    """A round whose tallies or settings changed, so that its densities are due."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    round = models.ForeignKey(
        Round,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    noted_at = models.DateTimeField(default=timezone.now)

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "id"], name="monitoring_roundchange_queue"
            )
        ]

    def __str__(self) -> str:
        return f"change of round {self.round_id}"


class DensityChange(models.Model):
    """A round with new densities, which alerts have yet to judge."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    round = models.ForeignKey(
        Round,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    noted_at = models.DateTimeField(default=timezone.now)

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "id"], name="monitoring_densitychange_queue"
            )
        ]

    def __str__(self) -> str:
        return f"new densities of round {self.round_id}"
