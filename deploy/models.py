"""Signs of life of the background processes."""

from datetime import datetime

from django.db import models


class Heartbeat(models.Model):
    """The last time that beat's pulse went through a worker."""

    beaten_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.beaten_at:%Y-%m-%d %H:%M:%S} UTC"

    @classmethod
    def note(cls, now: datetime) -> None:
        """Write down the newest pulse."""
        cls.objects.update_or_create(pk=1, defaults={"beaten_at": now})
