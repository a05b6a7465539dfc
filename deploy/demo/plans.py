"""The demo's planned rounds: a few to come, drawn as their planners would; invented."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from blocks.models import Block, FarmGroup
from blocks.tenancy import stating
from deploy.demo.people import PEOPLE
from deploy.demo.places import TIME_ZONE
from deploy.demo.replaying import as_member
from monitoring.planning.leaves import Wish
from monitoring.planning.proposing import propose
from monitoring.queries.plans import setting_of
from monitoring.services.bags import make_bags_of_plan
from monitoring.services.plans import make_plan, set_habits

DAYS_APART = 14
# Of the bench, for a bag; invented.
MINUTES_PER_BAG = 25.0
COORDINATOR, ANALYST = PEOPLE[:2]


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoPlan:
    """A round to come, so many days after the demo's day."""

    block: str
    days_ahead: int
    seed: int
    aim: str = "precision"
    buffer_m: float = 5.0
    # Whether the bags lie ready, labelled, for whoever walks it.
    has_bags: bool = False


PLANS = (
    DemoPlan(block="Stony Rise", days_ahead=2, seed=11, has_bags=True),
    DemoPlan(block="Kiln Ground", days_ahead=4, seed=12, aim="threshold"),
    DemoPlan(block="Two Springs", days_ahead=6, seed=13, buffer_m=8.0),
)


def load_plans(group: FarmGroup, *, today: date) -> None:
    """Set how often rounds are walked, plan the next few, and make bags for one."""
    now = datetime.combine(today, time(7, 30), ZoneInfo(TIME_ZONE))
    with stating(group.pk):
        set_habits(
            as_member(group, COORDINATOR),
            block=None,
            interval_days=DAYS_APART,
            minutes_per_bag=MINUTES_PER_BAG,
            now=now,
        )
        for one in PLANS:
            _plan(group, one, today=today, now=now)


def _plan(group: FarmGroup, one: DemoPlan, *, today: date, now: datetime) -> None:
    member = as_member(group, COORDINATOR)
    block = Block.objects.for_group(group.pk).get(name=one.block)
    setting = setting_of(member, block, today=today)
    answers = {
        "organism": "rust_mites",
        "planned_on": today + timedelta(days=one.days_ahead),
        "tissue": "leaf",
        "positions": ["low", "mid", "upper"],
        "growth_stage": ("", ""),
        "method": "balanced",
        "buffer_m": one.buffer_m,
        "snapped": True,
        "seed": one.seed,
    }
    wish = Wish(aim=one.aim, precision=0.25)
    proposal = propose(member, setting, answers, wish=wish, today=today)
    plan = make_plan(member, proposal, now=now)
    if one.has_bags:
        make_bags_of_plan(as_member(group, ANALYST), plan)
