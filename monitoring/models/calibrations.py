"""Calibration runs: what a laboratory's repeat washes and spiked samples gave."""

from uuid import uuid4

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import Organism, Tissue


class CalibrationRun(models.Model):
    """One measurement of recovery; its figures are never changed.

    A run that was wrong is withdrawn with a reason, or superseded by another run.
    """

    class Kind(models.TextChoices):
        """How the recovery was measured."""

        REPEAT_WASHES = "repeat_washes", "repeat washes"
        SPIKES = "spikes", "spiked samples"

    class State(models.TextChoices):
        """Whether the run counts."""

        STANDING = "standing", "standing"
        SUPERSEDED = "superseded", "superseded"
        WITHDRAWN = "withdrawn", "withdrawn"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+"
    )
    tissue = models.CharField(max_length=10, choices=Tissue)
    # The protocol in words; runs of one wording are pooled.
    method = models.CharField(max_length=80)
    kind = models.CharField(max_length=13, choices=Kind)
    # Animals each wash brought off, the first wash first; empty for spikes.
    catches = ArrayField(models.PositiveIntegerField(), default=list, blank=True)
    added = models.PositiveIntegerField(null=True, blank=True)
    recovered = models.PositiveIntegerField(null=True, blank=True)
    ran_on = models.DateField()
    ran_by = models.CharField(max_length=120)
    note = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(User, models.PROTECT, related_name="+")
    supersedes = models.ForeignKey(
        "self",
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="superseded_by",
    )
    state = models.CharField(max_length=10, choices=State, default=State.STANDING)
    # Of a run that no longer counts: why, since when, by whom.
    reason = models.CharField(max_length=300, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+"
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    kind="repeat_washes",
                    catches__len__gte=2,
                    added=None,
                    recovered=None,
                )
                | Q(
                    kind="spikes",
                    catches__len=0,
                    added__gte=1,
                    recovered__lte=F("added"),
                ),
                name="monitoring_calibrationrun_kind_and_counts",
            ),
            models.CheckConstraint(
                condition=Q(state="standing", reason="", ended_at=None, ended_by=None)
                | (
                    Q(state__in=["superseded", "withdrawn"])
                    & ~Q(reason="")
                    & Q(ended_at__isnull=False, ended_by__isnull=False)
                ),
                name="monitoring_calibrationrun_ended_with_reason",
            ),
            models.UniqueConstraint(
                fields=["supersedes"], name="monitoring_calibrationrun_superseded_once"
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "organism", "tissue", "ran_on"],
                name="monitoring_calibrationrun_of",
            )
        ]

    def __str__(self) -> str:
        if self.kind == self.Kind.SPIKES:
            return f"{self.recovered} of {self.added} found again"
        return ", ".join(str(catch) for catch in self.catches)

    @property
    def stands(self) -> bool:
        """Whether the run is pooled."""
        return self.state == self.State.STANDING
