"""Tell of bags that wait: since when, for what, and whether for too long."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from blocks.models import FarmGroup
from monitoring.models import Bag, BagSetting
from monitoring.words import bags


@dataclass(frozen=True, slots=True)
class Waiting:
    """A bag that waits, from the day its leaf was picked or its animals washed off."""

    bag: Any
    since: date
    days: int
    late_after: int

    @property
    def is_late(self) -> bool:
        """Whether it has waited longer than the group lets bags wait."""
        return self.days > self.late_after

    @property
    def for_what(self) -> str:
        """What it waits for."""
        return "to be counted" if self.bag.way == Bag.Way.WASHED else "to be washed"


def waiting_lines(
    found: Iterable[Any], setting: BagSetting, group: FarmGroup, *, today: date
) -> list[Waiting]:
    """Say of each bag how long it has waited; the longest first."""
    lines = [_line(bag, setting, group, today) for bag in found]
    return sorted(lines, key=_oldest_first)


def _oldest_first(line: Waiting) -> tuple[int, int, int, str]:
    """Keep a round's bags together, 2 before 10."""
    code = line.bag.code
    return -line.days, line.bag.round_id, len(code), code


def _line(bag: Any, setting: BagSetting, group: FarmGroup, today: date) -> Waiting:
    since, most = bag.round.collected_on, setting.wash_within_days
    if bag.way == Bag.Way.WASHED:
        most = setting.count_within_days
        marked = bag.washed_at.astimezone(group.zone).date() if bag.washed_at else None
        since = bag.washed_on or marked or since
    return Waiting(bag, since, max((today - since).days, 0), most)


def waiting_sentence(lines: list[Waiting], total: int) -> str:
    """Say how many bags wait, for what, and how many for too long."""
    if not total:
        return "No bag waits."
    if total > len(lines):
        return f"{bags(total)} wait; the {len(lines)} collected first are listed."
    to_wash = sum(line.bag.way != Bag.Way.WASHED for line in lines)
    late = sum(line.is_late for line in lines)
    said = f"{to_wash} to be washed, {total - to_wash} to be counted"
    over = f"; {late} longer than your limit" if late else "; none longer than it may"
    verb = "waits" if total == 1 else "wait"
    return f"{bags(total)} {verb}: {said}{over}."
