"""Let one count sheet of a group be published at a time, and nothing beside it.

Two sheets at once could bring the same bag.
"""

from django.db import connection

PUBLISH_LOCK = 727_001


def hold_publishing(farm_group_id: int) -> None:
    """Wait until nobody publishes counts of the group, and keep others from it."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(%s, %s)", [PUBLISH_LOCK, farm_group_id]
        )


def publish_beside_others(farm_group_id: int) -> bool:
    """Keep sheets waiting until the transaction ends; False if one is under way.

    A sheet writes tallies first and bags later, whoever counts a bag the other way
    round: waiting for it while holding a bag, each could wait for the other for ever.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_try_advisory_xact_lock_shared(%s, %s)",
            [PUBLISH_LOCK, farm_group_id],
        )
        (mine,) = cursor.fetchone()
    return bool(mine)
