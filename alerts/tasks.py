"""Background work of alerts: safe to run twice, killed half-way nothing is lost."""

from collections.abc import Callable
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
    return _in_each_group(lambda group_id: judge_changes(group_id, now=now))


@shared_task
def evaluate_everything() -> int:
    """Judge every block once a day: seasons end without any new round."""
    now = timezone.now()
    return _in_each_group(lambda group_id: judge_everything(group_id, now=now))


@shared_task
def send_due_messages() -> int:
    """Send the messages that are due, of all farm groups."""
    clock = Clock(now=timezone.now, share=Random().random)  # noqa: S311 - spreads retries
    return _in_each_group(lambda group_id: send_due(group_id, clock))


def _in_each_group(work: Callable[[int], int]) -> int:
    """Do the work for every farm group, so that one group's fault stops no other."""
    done, faults = 0, []
    for group_id in farm_group_ids():
        try:
            done += work(group_id)
        except Exception as fault:  # noqa: BLE001 - all are raised together below
            faults.append(fault)
    if faults:
        raise ExceptionGroup("The work failed for some farm groups.", faults)
    return done
