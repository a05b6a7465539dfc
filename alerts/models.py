"""Thresholds, standing alerts and their history, and the messages about them."""

from uuid import uuid4

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from blocks.models import (
    Block,
    Farm,
    FarmGroup,
    GroupQuerySet,
    Membership,
    User,
)
from monitoring.models import Organism, Round, Tissue

# A clear level lies this share below a density's threshold, or above a ratio's.
DEADBAND = 0.7


class Threshold(models.Model):
    """What is watched, and where: the nearest scope wins for a block.

    With `prey` it watches a predator ratio (organism per prey), else a density.
    """

    class Scope(models.TextChoices):
        """How far the threshold reaches."""

        GROUP = "group", "all farms"
        FARM = "farm", "one farm"
        BLOCK = "block", "one block"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    scope = models.CharField(max_length=5, choices=Scope)
    farm = models.ForeignKey(
        Farm,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
    )
    block = models.ForeignKey(
        Block,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
    )
    tissue = models.CharField(max_length=10, choices=Tissue)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+"
    )
    prey = models.ForeignKey(
        Organism,
        models.PROTECT,
        null=True,
        blank=True,
        db_constraint=False,
        related_name="+",
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "farm", "block", "tissue", "organism", "prey"],
                nulls_distinct=False,
                name="alerts_threshold_once",
            ),
            models.CheckConstraint(
                condition=Q(scope="group", farm=None, block=None)
                | Q(scope="farm", farm__isnull=False, block=None)
                | Q(scope="block", farm=None, block__isnull=False),
                name="alerts_threshold_scope_named",
            ),
            models.CheckConstraint(
                condition=Q(prey=None) | ~Q(prey=F("organism")),
                name="alerts_threshold_prey_is_another",
            ),
        ]

    def __str__(self) -> str:
        return f"threshold {self.pk}"

    @property
    def is_ratio(self) -> bool:
        """Whether it watches a predator ratio."""
        return self.prey_id is not None


class ThresholdVersion(models.Model):
    """A threshold as it stood from a moment on; never changed, only followed."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    threshold = models.ForeignKey(
        Threshold, models.PROTECT, db_constraint=False, related_name="versions"
    )
    number = models.PositiveIntegerField()
    level = models.FloatField()
    clear_level = models.FloatField()
    certainty = models.FloatField(default=0.80)
    clear_certainty = models.FloatField(default=0.50)
    raise_rounds = models.PositiveSmallIntegerField(default=1)
    clear_rounds = models.PositiveSmallIntegerField(default=2)
    minimum_bags = models.PositiveSmallIntegerField(default=5)
    # Month and day, such as 05-01; a season may reach over the new year.
    season_from = models.CharField(max_length=5, default="01-01")
    season_until = models.CharField(max_length=5, default="12-31")
    removed = models.BooleanField(default=False)
    reason = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)
    created_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "threshold", "number"],
                name="alerts_thresholdversion_number",
            ),
            models.CheckConstraint(
                condition=Q(level__gte=0, clear_level__gte=0),
                name="alerts_thresholdversion_levels_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(
                    certainty__gt=0,
                    certainty__lt=1,
                    clear_certainty__gt=0,
                    clear_certainty__lt=1,
                ),
                name="alerts_thresholdversion_certainties",
            ),
            models.CheckConstraint(
                condition=Q(
                    raise_rounds__gte=1, clear_rounds__gte=1, minimum_bags__gte=1
                ),
                name="alerts_thresholdversion_numbers_from_one",
            ),
        ]

    def __str__(self) -> str:
        return f"version {self.number} of threshold {self.threshold_id}"


class Alert(models.Model):
    """One standing episode on a block: raised once, ended once."""

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    block = models.ForeignKey(
        Block, models.PROTECT, db_constraint=False, related_name="alerts"
    )
    tissue = models.CharField(max_length=10, choices=Tissue)
    organism = models.ForeignKey(
        Organism, models.PROTECT, db_constraint=False, related_name="+"
    )
    prey = models.ForeignKey(
        Organism, models.PROTECT, null=True, db_constraint=False, related_name="+"
    )
    raised_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "block", "tissue", "organism", "prey"],
                condition=Q(ended_at=None),
                nulls_distinct=False,
                name="alerts_alert_one_stands",
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None) | Q(ended_at__gte=F("raised_at")),
                name="alerts_alert_ends_after_raised",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "-raised_at"], name="alerts_alert_newest"
            )
        ]

    def __str__(self) -> str:
        return f"alert {self.pk}"

    @property
    def history(self) -> list["Transition"]:
        """Its transitions, oldest first; from the prefetched ones where there are."""
        return sorted(self.transitions.all(), key=lambda step: (step.at, step.pk))


class Transition(models.Model):
    """One step in an alert's history, with the figures that it was judged by."""

    class Kind(models.TextChoices):
        """What happened."""

        RAISED = "raised", "raised"
        KEPT = "kept", "judged again, and kept"
        CLEARED = "cleared", "cleared"
        SEASON_OVER = "season_over", "season over"
        REMOVED = "removed", "threshold removed"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    alert = models.ForeignKey(
        Alert, models.PROTECT, db_constraint=False, related_name="transitions"
    )
    kind = models.CharField(max_length=12, choices=Kind)
    version = models.ForeignKey(
        ThresholdVersion, models.PROTECT, db_constraint=False, related_name="+"
    )
    round = models.ForeignKey(
        Round, models.PROTECT, null=True, db_constraint=False, related_name="+"
    )
    chance = models.FloatField(null=True)
    median = models.FloatField(null=True)
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    bags = models.PositiveIntegerField(default=0)
    sentence = models.TextField()
    reason = models.CharField(max_length=300, blank=True)
    # Old rounds change states but send nothing.
    quiet = models.BooleanField(default=False)
    at = models.DateTimeField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "alert"],
                condition=Q(kind="raised"),
                name="alerts_transition_raised_once",
            ),
            models.UniqueConstraint(
                fields=["farm_group", "alert"],
                condition=Q(kind__in=["cleared", "season_over", "removed"]),
                name="alerts_transition_ended_once",
            ),
        ]

    def __str__(self) -> str:
        return self.sentence


class Subscription(models.Model):
    """Whether a member wants e-mail about alerts on the farms they see."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    membership = models.ForeignKey(
        Membership, models.CASCADE, db_constraint=False, related_name="subscriptions"
    )
    by_email = models.BooleanField(default=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "membership"], name="alerts_subscription_once"
            )
        ]

    def __str__(self) -> str:
        return f"subscription of membership {self.membership_id}"


class Message(models.Model):
    """One message to one person about one transition: the outbox."""

    class State(models.TextChoices):
        """How far the message has got."""

        PENDING = "pending", "waiting"
        SENDING = "sending", "being sent"
        SENT = "sent", "sent"
        DEAD = "dead", "given up"
        SUPPRESSED = "suppressed", "not sent"

    class Channel(models.TextChoices):
        """How it is sent."""

        EMAIL = "email", "e-mail"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    transition = models.ForeignKey(
        Transition, models.PROTECT, db_constraint=False, related_name="messages"
    )
    recipient = models.ForeignKey(
        Membership, models.PROTECT, db_constraint=False, related_name="+"
    )
    channel = models.CharField(max_length=6, choices=Channel, default=Channel.EMAIL)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField()
    state = models.CharField(max_length=10, choices=State, default=State.PENDING)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(default=timezone.now)
    claimed_at = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    trouble = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now, editable=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "transition", "recipient", "channel"],
                name="alerts_message_once",
            )
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "state", "next_try_at"],
                name="alerts_message_due",
            )
        ]

    def __str__(self) -> str:
        return self.subject

    @property
    def message_id(self) -> str:
        """The same Message-ID at every try, so that a repeat is known for one."""
        return f"<{self.uuid}@washboard>"
