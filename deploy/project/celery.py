"""The task queue: Redis carries it, PostgreSQL alone holds the truth."""

import os

from celery import Celery
from celery.schedules import crontab
from celery.signals import beat_init, worker_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.project.settings")

app = Celery("washboard")
app.config_from_object("django.conf:settings", namespace="CELERY")

# Longer than the longest task, so that no task is handed out twice while it runs.
VISIBILITY_TIMEOUT_S = 900
TRANSPORT = {
    "visibility_timeout": VISIBILITY_TIMEOUT_S,
    # kombu looks for abandoned tasks every interval x throttle seconds.
    "unacked_restore_interval": 10,
    "unacked_restore_throttle": 1,
    "global_keyprefix": "washboard:",
}

app.conf.update(
    accept_content=["json"],
    task_serializer="json",
    task_ignore_result=True,
    task_acks_late=True,
    task_reject_on_worker_lost=True,
    task_time_limit=VISIBILITY_TIMEOUT_S - 60,
    worker_prefetch_multiplier=1,
    broker_connection_retry_on_startup=True,
    broker_transport_options=TRANSPORT,
    visibility_timeout=VISIBILITY_TIMEOUT_S,
    timezone="UTC",
    beat_max_loop_interval=30,
    # Beat only pokes; each task asks the database what is due.
    beat_schedule={
        "heartbeat": {"task": "deploy.tasks.beat", "schedule": 20.0},
        "sheets": {"task": "monitoring.tasks.resume_sheets", "schedule": 60.0},
        "benches": {"task": "monitoring.tasks.settle_benches", "schedule": 60.0},
        "densities": {
            "task": "monitoring.tasks.compute_changed_densities",
            "schedule": 60.0,
        },
        "alerts": {"task": "alerts.tasks.evaluate_changes", "schedule": 60.0},
        "mail": {"task": "alerts.tasks.send_due_messages", "schedule": 60.0},
        "daily": {
            "task": "alerts.tasks.evaluate_everything",
            "schedule": crontab(hour="4", minute="10"),
        },
    },
)
app.autodiscover_tasks()


@worker_init.connect
def refuse_strong_role_first(**_signal: object) -> None:
    """Look at the database role before the first task."""
    from deploy.project.boot import refuse_strong_role  # noqa: PLC0415 - Django must be set up

    refuse_strong_role()


@beat_init.connect
def show_life_at_once(**_signal: object) -> None:
    """Send the first pulse with beat's start, for those who wait for it."""
    app.send_task("deploy.tasks.beat")
