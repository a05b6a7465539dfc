"""How far a sheet's current step has got, for whoever looks at its page.

Kept in the cache only: it may be lost at any moment, and then the page shows the step
without a number.
"""

import logging

from django.core.cache import cache
from redis import RedisError

KEPT_S = 600
logger = logging.getLogger(__name__)


def note_progress(sheet_id: int, rows_done: int) -> None:
    """Note how many rows the current step has done."""
    try:
        cache.set(f"sheet-{sheet_id}", rows_done, KEPT_S)
    except (RedisError, OSError):
        logger.warning("The cache is down; progress of sheets is not shown.")


def progress_of(sheet_id: int) -> int | None:
    """Give how many rows the current step has done, if known."""
    try:
        found = cache.get(f"sheet-{sheet_id}")
    except (RedisError, OSError):
        return None
    return int(found) if found is not None else None
