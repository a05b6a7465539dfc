"""Background work of alerts: safe to run twice, killed half-way nothing is lost."""

from random import Random

from celery import shared_task
from django.utils import timezone

from alerts.services.outbox import Clock, send_due
from alerts.services.sweeps import judge_changes, judge_everything
from blocks.tenancy import farm_group_ids


@shared_task
def evaluate_changes() -> int:
    """Judge the blocks whose densities changed, of all farm groups."""
    now = timezone.now()
    return sum(judge_changes(group_id, now=now) for group_id in farm_group_ids())


@shared_task
def evaluate_everything() -> int:
    """Judge every block once a day: seasons end without any new round."""
    now = timezone.now()
    return sum(judge_everything(group_id, now=now) for group_id in farm_group_ids())


@shared_task
def send_due_messages() -> int:
    """Send the messages that are due, of all farm groups."""
    clock = Clock(now=timezone.now, share=Random().random)  # noqa: S311 - spreads retries
    return sum(send_due(group_id, clock) for group_id in farm_group_ids())
