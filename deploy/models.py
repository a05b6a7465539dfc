"""Signs of life of the background processes."""

from django.db import models


class Heartbeat(models.Model):
    """The last time that beat's pulse went through a worker."""

    beaten_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.beaten_at:%Y-%m-%d %H:%M:%S} UTC"
