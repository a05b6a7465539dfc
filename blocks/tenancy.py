"""State, for one transaction, whose rows may be seen.

PostgreSQL's row-level security compares every row's farm group with the setting
`washboard.farm_group`, and a person's own memberships with `washboard.person`.
Both are set for the transaction only, so nothing is left on a pooled connection.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction

GROUP_SETTING = "washboard.farm_group"
PERSON_SETTING = "washboard.person"


def _read_settings() -> tuple[str, str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT coalesce(current_setting(%s, true), ''),"
            " coalesce(current_setting(%s, true), '')",
            [GROUP_SETTING, PERSON_SETTING],
        )
        group, person = cursor.fetchone()
    return group, person


def _write_settings(group: str, person: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT set_config(%s, %s, true), set_config(%s, %s, true)",
            [GROUP_SETTING, group, PERSON_SETTING, person],
        )


@contextmanager
def _settings(group: str, person: str) -> Iterator[None]:
    nested = connection.in_atomic_block
    with transaction.atomic():
        before = _read_settings() if nested else None
        _write_settings(group, person)
        yield
        # A transaction's end forgets the setting by itself; inside an outer one the
        # outer's statement must hold again.
        if before is not None and not connection.needs_rollback:
            _write_settings(*before)


@contextmanager
def stating(farm_group_id: int, *, person_id: int | None = None) -> Iterator[None]:
    """Open a transaction in which the rows of one farm group can be seen."""
    with _settings(str(farm_group_id), "" if person_id is None else str(person_id)):
        yield


@contextmanager
def stating_person(person_id: int) -> Iterator[None]:
    """Open a transaction in which a person's own memberships can be seen."""
    with _settings("", str(person_id)):
        yield


def state_group(farm_group_id: int, *, person_id: int) -> None:
    """Go on, inside the open transaction, to one farm group's rows."""
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError(
            "A farm group is stated inside a transaction only."
        )
    _write_settings(str(farm_group_id), str(person_id))


def farm_group_ids() -> list[int]:
    """List the ids of all farm groups, for sweepers and daily runs; 1 query.

    The function in the database is the one way past row-level security, and it
    gives ids only.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT washboard_farm_group_ids()")
        return [row[0] for row in cursor.fetchall()]
