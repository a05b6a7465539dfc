"""Count sheets as they came, their rows, and what was found in them."""

from uuid import uuid4

from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.utils import timezone

from blocks.models import FarmGroup, GroupQuerySet, User


class Sheet(models.Model):
    """An uploaded file, kept as it came, and how far it has got."""

    class State(models.TextChoices):
        """From the upload to the publication."""

        RECEIVED = "received", "waiting to be read"
        READING = "reading", "being read"
        CHECKING = "checking", "being checked"
        CHECKED = "checked", "checked"
        PUBLISHING = "publishing", "being published"
        PUBLISHED = "published", "published"
        REFUSED = "refused", "could not be read"
        DISCARDED = "discarded", "discarded"

    class Layout(models.TextChoices):
        """What one row of the sheet is."""

        BAGS = "bags", "one row a bag"
        CELLS = "cells", "one row a cell"
        BLANKS = "blanks", "one row a blank wash"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    file_name = models.CharField(max_length=255)
    stored_name = models.CharField(max_length=100)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    layout = models.CharField(max_length=6, choices=Layout, blank=True)
    state = models.CharField(max_length=10, choices=State, default=State.RECEIVED)
    header = models.JSONField(default=list)
    rows_total = models.PositiveIntegerField(null=True, blank=True)
    rows_done = models.PositiveIntegerField(default=0)
    # The person's answers to the sheet's questions, by the question's key.
    answers = models.JSONField(default=dict)
    summary = models.JSONField(default=dict)
    uploaded_at = models.DateTimeField(default=timezone.now, editable=False)
    uploaded_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    state_changed_at = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            # The same file is published once in a group, whoever is first.
            models.UniqueConstraint(
                fields=["farm_group", "sha256"],
                condition=Q(state="published"),
                name="monitoring_sheet_published_once",
            ),
        ]
        indexes = [
            models.Index(
                fields=["farm_group", "-uploaded_at"], name="monitoring_sheet_newest"
            )
        ]

    def __str__(self) -> str:
        return self.file_name


class SheetRow(models.Model):
    """One row as read from the file, and as corrected on the page."""

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    sheet = models.ForeignKey(
        Sheet,
        models.PROTECT,
        db_constraint=False,
        related_name="rows",
        db_index=False,
    )
    # The row's number in the file, as a spreadsheet shows it.
    number = models.PositiveIntegerField()
    fields = ArrayField(models.TextField())
    corrected = ArrayField(models.TextField(), null=True, blank=True)
    left_out = models.BooleanField(default=False)

    objects = GroupQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["farm_group", "sheet", "number"],
                name="monitoring_sheetrow_number_in_sheet",
            )
        ]

    def __str__(self) -> str:
        return f"row {self.number} of sheet {self.sheet_id}"


class SheetFinding(models.Model):
    """One thing found wrong, doubtful or to be asked in a sheet."""

    class Level(models.TextChoices):
        """What the finding keeps from happening."""

        ERROR = "error", "error"
        QUESTION = "question", "question"
        WARNING = "warning", "warning"

    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    sheet = models.ForeignKey(
        Sheet,
        models.PROTECT,
        db_constraint=False,
        related_name="findings",
        db_index=False,
    )
    # None for a finding about the whole file.
    row_number = models.PositiveIntegerField(null=True, blank=True)
    column = models.CharField(max_length=80, blank=True)
    level = models.CharField(max_length=8, choices=Level)
    code = models.CharField(max_length=40)
    seen = models.CharField(max_length=200, blank=True)
    sentence = models.TextField()

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "sheet", "level", "row_number"],
                name="monitoring_finding_in_sheet",
            )
        ]

    def __str__(self) -> str:
        return self.sentence
