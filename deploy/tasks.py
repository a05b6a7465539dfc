"""The pulse that shows beat and worker alive."""

from celery import shared_task
from django.utils import timezone

from deploy.models import Heartbeat


@shared_task
def beat() -> None:
    """Note that beat's message reached a worker."""
    Heartbeat.note(timezone.now())
