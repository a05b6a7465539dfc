"""A planned round and a calendar address in a world of tests."""

from datetime import UTC, datetime, timedelta
from typing import Any

from blocks.access import member_for
from monitoring.plan_forms import PlanForm
from monitoring.planning.proposing import propose
from monitoring.queries.plans import setting_of
from monitoring.services.plans import make_calendar_address, make_plan, set_habits
from tests.builders import World

NOW = datetime(2026, 8, 16, 9, tzinfo=UTC)
TODAY = NOW.date()
ANSWERS: dict[str, Any] = {
    "planned_on": (TODAY + timedelta(days=5)).isoformat(),
    "tissue": "leaf",
    "organism": "rust_mites",
    "positions": ["low", "mid", "upper"],
    "growth_stage": "BBCH 81",
    "aim": "stated",
    "bags": "12",
    "method": "balanced",
    "buffer_m": "5",
    "seed": "7",
}


def give_plan(world: World, **other: Any) -> dict[str, Any]:
    """Plan a round of the first block; inside a stated transaction."""
    member = member_for(world.people["coordinator"], world.slug)
    setting = setting_of(member, world.block, today=TODAY)
    form = PlanForm(
        ANSWERS | other,
        organisms=setting.organisms,
        earlier=setting.earlier,
        has_rows=setting.rows is not None,
        today=TODAY,
    )
    assert form.is_valid(), form.errors
    proposal = propose(
        member, setting, form.cleaned_data, wish=form.wish(), today=TODAY
    )
    plan = make_plan(member, proposal, now=NOW)
    set_habits(member, block=None, interval_days=14, now=NOW)
    make_calendar_address(member, now=NOW)
    return {"plan": plan}
