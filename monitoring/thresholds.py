"""Thresholds and standing alerts, as far as pages and figures of this app show them.

Alerts live in a higher app, which this one may not import; the site names their
queries in its settings.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import cast
from uuid import UUID

from django.conf import settings
from django.utils.module_loading import import_string


@dataclass(frozen=True, slots=True, kw_only=True)
class ThresholdInForce:
    """The threshold that holds for a block, for a density or a predator ratio.

    `prey_id` is None for a density. A ratio's threshold is crossed from above.
    """

    block_id: int
    tissue: str
    organism_id: int
    prey_id: int | None
    level: float
    clear_level: float
    certainty: float
    minimum_bags: int
    scope: str
    in_season: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingAlert:
    """An alert that stands on a block."""

    uuid: UUID
    block_id: int
    tissue: str
    organism_id: int
    prey_id: int | None
    raised_at: datetime
    sentence: str


def thresholds_in_force(
    farm_group_id: int, block_ids: Iterable[int]
) -> list[ThresholdInForce]:
    """List the thresholds that hold for blocks, the nearest scope each."""
    find = cast(
        "Callable[[int, list[int]], list[ThresholdInForce]]",
        import_string(settings.THRESHOLDS_IN_FORCE),
    )
    return find(farm_group_id, list(block_ids))


def standing_alerts(
    farm_group_id: int, block_ids: Iterable[int]
) -> list[StandingAlert]:
    """List the alerts that stand on blocks, newest first."""
    find = cast(
        "Callable[[int, list[int]], list[StandingAlert]]",
        import_string(settings.STANDING_ALERTS),
    )
    return find(farm_group_id, list(block_ids))
