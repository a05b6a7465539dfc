"""How a leaf looked: symptom scores of bags, each with who, when and where from."""

from uuid import uuid4

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User
from monitoring.models.laboratory import SymptomScale
from monitoring.models.samples import Bag
from monitoring.models.sheets import Sheet


class SymptomScore(models.Model):
    """A bag's score on the group's scale; never changed, only superseded."""

    class State(models.TextChoices):
        """Whether the score stands."""

        PUBLISHED = "published", "published"
        SUPERSEDED = "superseded", "superseded"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    bag = models.ForeignKey(
        Bag, models.PROTECT, db_constraint=False, related_name="scores", db_index=False
    )
    # The scale in force when it was scored: numbers of two scales are not compared.
    scale = models.ForeignKey(
        SymptomScale,
        models.PROTECT,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    score = models.SmallIntegerField()
    state = models.CharField(max_length=10, choices=State, default=State.PUBLISHED)
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
    # Empty where it was typed on the round's page.
    source_sheet = models.ForeignKey(
        Sheet,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
        db_index=False,
    )
    source_row = models.PositiveIntegerField(null=True, blank=True)
    scored_on = models.DateField(null=True, blank=True)
    scorer = models.ForeignKey(
        User, models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    # The name as written, kept when it matches no member.
    scorer_name = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "bag"],
                condition=Q(state="published"),
                name="monitoring_symptomscore_one_published",
            ),
            models.CheckConstraint(
                condition=Q(source_sheet=None, source_row=None)
                | Q(source_sheet__isnull=False, source_row__isnull=False),
                name="monitoring_symptomscore_source_whole",
            ),
            models.CheckConstraint(
                condition=Q(supersedes=None) | ~Q(supersedes=F("id")),
                name="monitoring_symptomscore_not_its_own_past",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "bag"], name="monitoring_symptomscore_by_bag"
            )
        ]

    def __str__(self) -> str:
        return f"score {self.score} of bag {self.bag_id}"

    @property
    def words(self) -> str:
        """The score with its level's name, e.g. “2, russeted”."""
        name = dict(self.scale.levels).get(self.score, "")
        return f"{self.score}, {name}" if name else str(self.score)
