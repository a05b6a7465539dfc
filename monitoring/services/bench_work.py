"""Work out what follows from a device's events: acts, then readings."""

import logging
from collections.abc import Callable
from typing import Any, TypeVar
from uuid import UUID

from django.db import connection, transaction

from blocks.access import Member
from monitoring.models import BenchDevice
from monitoring.queries.bench import readings_under_way
from monitoring.services import bench_acts
from monitoring.services.bench_holding import hold
from monitoring.services.bench_readings import follow, keep_open

logger = logging.getLogger(__name__)
Result = TypeVar("Result")

NOT_WORKED_OUT = (
    "The events are stored, but what follows from them could not be worked out now. It"
    " is tried again within a minute; if this stays, tell whoever runs the site."
)


def work_out(
    member: Member, device: BenchDevice, touched: set[UUID]
) -> tuple[list[dict[str, Any]], list[str]]:
    """Do the acts that are complete, then follow the readings touched or under way.

    Gives where each reading stands, and what a person should know. The device's row
    must be locked; doing it again changes nothing more.
    """
    wanted = touched | readings_under_way(device)
    hold(device, wanted)
    words = _act(member, device)
    readings, troubles = _follow(member, device, wanted)
    return readings, [*words, *troubles]


def _act(member: Member, device: BenchDevice) -> list[str]:
    """Do the acts beside readings that are complete, before what is read after them."""
    acts_to = device.acts_to
    words = _or_none(
        lambda: bench_acts.apply(member, device, up_to=device.complete_to),
        f"the acts of {device.pk}",
    )
    if words is None:
        device.acts_to = acts_to
        return [NOT_WORKED_OUT]
    return words


def _follow(
    member: Member, device: BenchDevice, wanted: set[UUID]
) -> tuple[list[dict[str, Any]], list[str]]:
    """Work out what follows from the events; what fails leaves them stored."""
    told = _or_none(lambda: follow(member, wanted), f"the readings of {device.pk}")
    if told is not None:
        return told, []
    # One of them is at fault: the others go on.
    alone: list[dict[str, Any]] = []
    failed = []
    for key in sorted(wanted):
        one = _or_none(lambda key=key: follow(member, {key}), f"reading {key}")  # type: ignore[misc]  # key is bound now
        if one is None:
            failed.append(key)
            # So that it is seen as not finished, and tried at each visit.
            _or_none(lambda key=key: keep_open(member, key), f"reading {key}")  # type: ignore[misc]  # key is bound now
        else:
            alone += one
    return alone, [NOT_WORKED_OUT] if failed else []


def _or_none(work: Callable[[], Result], what: str) -> Result | None:
    """Do something that the stored events must not hang on; None where it fails."""
    try:
        with transaction.atomic():
            done = work()
            # Now, since at the end of the transaction they would refuse the events.
            connection.check_constraints()
            return done
    except Exception:
        if transaction.get_rollback():
            raise  # nothing would be stored, so nothing may be answered
        logger.exception("Could not work out %s from the bench's events.", what)
        return None
