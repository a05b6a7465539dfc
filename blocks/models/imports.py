"""Boundary files as they came, and how far their import has got."""

from uuid import uuid4

from django.db import models
from django.utils import timezone

from blocks.models.groups import Farm, FarmGroup, GroupQuerySet
from blocks.models.people import User


class BoundaryImport(models.Model):
    """An uploaded boundary file, kept as it came, with what was read from it."""

    class State(models.TextChoices):
        """From the upload to the publication."""

        READ = "read", "read"
        REFUSED = "refused", "could not be read"
        PUBLISHED = "published", "published"
        DISCARDED = "discarded", "put aside"

    uuid = models.UUIDField(default=uuid4, unique=True, editable=False)
    farm_group = models.ForeignKey(FarmGroup, models.PROTECT, db_index=False)
    file_name = models.CharField(max_length=255)
    stored_name = models.CharField(max_length=100)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    # Where blocks go whose shape names no farm.
    farm = models.ForeignKey(
        Farm, models.PROTECT, null=True, db_constraint=False, related_name="+"
    )
    valid_from = models.DateField()
    state = models.CharField(max_length=10, choices=State, default=State.READ)
    answers = models.JSONField(default=dict)
    preview = models.JSONField(default=dict)
    uploaded_at = models.DateTimeField(default=timezone.now, editable=False)
    uploaded_by = models.ForeignKey(
        User, models.PROTECT, null=True, related_name="+", db_index=False
    )
    published_at = models.DateTimeField(null=True, blank=True)

    objects = GroupQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(
                fields=["farm_group", "-uploaded_at"], name="blocks_import_newest"
            )
        ]

    def __str__(self) -> str:
        return self.file_name
