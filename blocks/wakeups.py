"""Wake a background task once the open transaction has been committed.

Only a convenience: what is due stands in the database, and beat pokes every task
once a minute. So a broker that is down delays work and loses none.
"""

import logging

from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError

logger = logging.getLogger(__name__)


def wake_after_commit(task_name: str, **arguments: str | int) -> None:
    """Send the task by name after the commit; a rollback sends nothing."""

    def send() -> None:
        try:
            current_app.send_task(
                task_name, kwargs=arguments, retry=False, ignore_result=True
            )
        except OperationalError:
            logger.warning("The broker is down; %s waits for beat.", task_name)

    transaction.on_commit(send)
