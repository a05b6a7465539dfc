"""When a block's next round is due: by its plans, or so many days after the last."""

from dataclasses import dataclass, field
from datetime import date, timedelta

from blocks.models import Block
from monitoring.models import RoundPlan
from monitoring.words import day

# For washing, pouring and counting one bag; common practice, no source.
USUAL_MINUTES = 20.0


@dataclass(frozen=True, slots=True)
class Habits:
    """How often a farm group walks rounds, and how long a bag keeps its bench."""

    interval_days: int | None = None
    minutes_per_bag: float | None = None
    by_block: dict[int, int] = field(default_factory=dict)

    def interval_of(self, block_id: int) -> int | None:
        """Give a block's own interval, or the group's."""
        return self.by_block.get(block_id, self.interval_days)

    @property
    def minutes(self) -> float:
        """Minutes of the bench for a bag."""
        return self.minutes_per_bag or USUAL_MINUTES

    @property
    def minutes_source(self) -> str:
        """Where the minutes come from."""
        if self.minutes_per_bag:
            return "your group's setting"
        return "common practice; a setting of the group"


@dataclass(frozen=True, slots=True)
class BlockDue:
    """A block with its last round, and the plans that were not walked yet."""

    block: Block
    last_walked: date | None
    interval_days: int | None
    plans: list[RoundPlan]

    @property
    def plan(self) -> RoundPlan | None:
        """The next plan, if there is one."""
        return self.plans[0] if self.plans else None

    @property
    def by_interval(self) -> date | None:
        """The day so many days after the last round."""
        if self.last_walked is None or self.interval_days is None:
            return None
        return self.last_walked + timedelta(days=self.interval_days)

    @property
    def due_on(self) -> date | None:
        """The day of the next round; a plan goes before the interval."""
        return self.plan.planned_on if self.plan else self.by_interval

    def words(self, today: date) -> str:
        """Say when it is due, seen from a day."""
        if self.due_on is None:
            return "no day set"
        days = (self.due_on - today).days
        if days < 0:
            return f"overdue by {_days(-days)}, since {day(self.due_on)}"
        if days == 0:
            return "due today"
        return f"in {_days(days)}, on {day(self.due_on)}"


def _days(number: int) -> str:
    return "1 day" if number == 1 else f"{number} days"


def in_order(rows: list[BlockDue]) -> list[BlockDue]:
    """Put what is due first at the top, and blocks without a day at the end."""
    return sorted(
        rows,
        key=lambda row: (
            row.due_on or date.max,
            row.block.farm.name,
            row.block.name,
        ),
    )
