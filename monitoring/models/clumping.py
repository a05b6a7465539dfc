"""What a farm group's earlier rounds tell of how its leaves differ."""

from uuid import uuid4

from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Organism, Tissue


class ClumpingPrior(models.Model):
    """Clumping learned from earlier rounds, held for rounds from a date on.

    Rows are never changed: a newer `valid_from`, then a newer row, takes over. One
    without figures ends what was held: nothing is then held beforehand.
    """

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+"
    )
    tissue = models.CharField(max_length=10, choices=Tissue)
    # Units in each of the bags that it was learned from.
    units = models.PositiveIntegerField(default=1)
    k_median = models.FloatField(null=True, blank=True)
    k_sd_log = models.FloatField(null=True, blank=True)
    sigma_median = models.FloatField(null=True, blank=True)
    sigma_sd_log = models.FloatField(null=True, blank=True)
    lognormal_odds = models.FloatField(null=True, blank=True)
    rounds = models.PositiveIntegerField(default=0)
    bags = models.PositiveIntegerField(default=0)
    # The rounds it was learned from: id, date, bags and animals of each.
    basis = models.JSONField(default=list, blank=True)
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
                    Q(
                        k_median__gt=0,
                        k_sd_log__gt=0,
                        sigma_median__gt=0,
                        sigma_sd_log__gt=0,
                        lognormal_odds__gt=0,
                        rounds__gt=0,
                    )
                    | Q(
                        k_median=None,
                        k_sd_log=None,
                        sigma_median=None,
                        sigma_sd_log=None,
                        lognormal_odds=None,
                        rounds=0,
                    )
                ),
                name="monitoring_clumping_prior_all_or_none",
            ),
            models.CheckConstraint(
                condition=Q(units__gte=1), name="monitoring_clumping_prior_units"
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "organism", "tissue", "valid_from"],
                name="monitoring_clumping_in_force",
            )
        ]

    def __str__(self) -> str:
        if self.k_median is None:
            return "none held"
        return f"k about {self.k_median:.3g}, from {self.rounds} rounds"
