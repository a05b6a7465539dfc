"""Calibration runs and a tally for the world with one of everything."""

from datetime import date
from typing import Any

from blocks.access import member_for
from monitoring.models import Organism, Tally
from monitoring.services.calibrations import Measured, enter_run
from tests.builders import World

TODAY = date(2026, 8, 16)


def give_runs(world: World) -> dict[str, Any]:
    """Enter three runs under the world's canary name; the group is stated."""
    member = member_for(world.people["lab"], world.slug)
    runs = [
        enter_run(
            member,
            Measured(
                organism=Organism.objects.get(farm_group=world.group, code="thrips"),
                tissue="leaf",
                method=f"{world.group.name} method",
                kind="spikes",
                ran_on=date(2026, 8, day),
                ran_by=f"{world.group.name} analyst",
                added=50,
                recovered=40 + day,
                note=f"{world.group.name} note",
            ),
            today=TODAY,
        )
        for day in (3, 4, 5)
    ]
    tally = Tally.objects.filter(
        farm_group=world.group, organism__code="rust_mites"
    ).order_by("pk")[0]
    return {"calibration_run": runs[0], "tally": tally}
