"""A farm group with one of everything, under a canary name."""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import transaction

from alerts.models import Alert, Threshold
from alerts.services.sweeps import judge_changes
from alerts.services.thresholds import Values, Watched, set_threshold, subscribe
from blocks.access import Member, member_for
from blocks.models import Block, BoundaryImport, Farm, Membership
from blocks.services import boundaries
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import (
    Bag,
    BagPhoto,
    BenchEvent,
    BenchReading,
    BlankWash,
    CalibrationRun,
    Density,
    Dish,
    Organism,
    Ratio,
    ReferenceDish,
    Round,
    RoundPlan,
    Sheet,
    Tally,
    WashBatch,
    WeatherStation,
    WeatherUpload,
)
from monitoring.models.treatments import Treatment
from monitoring.services.bags import Wanted, make_bags
from monitoring.services.treatments import Done, record
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.tenancy.act_world import give_act
from tests.tenancy.bench_world import give_reading
from tests.tenancy.calibration_world import give_runs
from tests.tenancy.plan_world import give_plan
from tests.tenancy.training_world import give_reference
from tests.tenancy.wash_world import give_wash
from tests.tenancy.weather_world import give_weather

NOW = datetime(2026, 8, 16, 9, tzinfo=UTC)
SHAPE = (
    b'{"type":"Feature","properties":{"name":"Shape"},"geometry":{"type":"Polygon",'
    b'"coordinates":[[[10.1,45.1],[10.102,45.1],[10.102,45.102],[10.1,45.1]]]}}'
)


@dataclass
class FullWorld:
    """One object of each kind, all of the world's first block."""

    world: World
    block: Block
    round: Round
    density: Density
    ratio: Ratio
    membership: Membership
    boundary_import: BoundaryImport
    organism: Organism
    dish: Dish
    sheet: Sheet
    threshold: Threshold
    alert: Alert
    treatment: Treatment
    blank: BlankWash
    farm: Farm
    station: WeatherStation
    weather_upload: WeatherUpload
    calibration_run: CalibrationRun
    tally: Tally
    plan: RoundPlan
    wash_batch: WashBatch
    bag: Bag
    act: BenchEvent
    photo: BagPhoto
    bench_reading: BenchReading
    reference: ReferenceDish


def _member(world: World, role: str) -> Member:
    return member_for(world.people[role], world.slug)


def fill(world: World) -> FullWorld:
    """Count, judge and import in a world, and give what came of it."""
    _set_threshold(world)
    desk = Desk(world)
    rows = [
        bag_row(bag=i, block=world.block.name, rust_mites=300 + i, predatory_mites=1,
                note=f"{world.group.name} note", washed_on="")
        for i in range(6)
    ]  # fmt: skip
    sheet = desk.publish(desk.upload(bag_sheet(*rows), f"{world.group.name}.csv"))
    assert sheet.state == Sheet.State.PUBLISHED, desk.findings(sheet)
    desk.publish(desk.upload(_blank_sheet(world), f"{world.group.name} blanks.csv"))
    compute_changed(world.group.pk)
    judge_changes(world.group.pk, now=NOW)
    with transaction.atomic():
        begun = boundaries.receive(
            _member(world, "coordinator"),
            file_name=f"{world.group.name}.geojson",
            chunks=[SHAPE],
            farm=world.farms[0],
            valid_from=date(2026, 1, 1),
        )
    with stating(world.group.pk):
        return _gather(world, sheet, begun)


def _blank_sheet(world: World) -> bytes:
    return (
        "blank,washed_on,after_bag,block,collected_on,rust_mites,note\n"
        f"B1,2026-08-15,1,{world.block.name},2026-08-14,1,{world.group.name} note\n"
    ).encode()


def _set_threshold(world: World) -> None:
    with transaction.atomic():
        member = _member(world, "coordinator")
        subscribe(_member(world, "consultant"), by_email=True)
        mites = Organism.objects.get(farm_group=world.group, code="rust_mites")
        set_threshold(
            member,
            Watched(tissue="leaf", organism=mites),
            Values(level=50),
            reason=f"{world.group.name} reason",
            now=NOW,
        )


def _plan_bag(world: World) -> Bag:
    wanted = Wanted(tissue="leaf", numbers={"mid": 1})
    (bag,) = make_bags(_member(world, "lab"), world.block, date(2026, 8, 14), wanted)
    return bag


def _treat(world: World) -> Treatment:
    done = Done(
        treated_on=date(2026, 8, 10),
        category=Treatment.Category.SULFUR,
        active_ingredient=f"{world.group.name} sulfur",
        treated=[world.block],
    )
    return record(_member(world, "coordinator"), done, now=NOW)


def _gather(world: World, sheet: Sheet, begun: BoundaryImport) -> FullWorld:
    first: dict[str, Any] = {
        "round": Round.objects.get(farm_group=world.group),
        "density": Density.objects.get(
            organism__code="rust_mites", is_current=True, farm_group=world.group
        ),
        "ratio": Ratio.objects.get(is_current=True, farm_group=world.group),
        "membership": Membership.objects.get(role="grower", farm_group=world.group),
        "organism": Organism.objects.get(code="thrips", farm_group=world.group),
        "dish": Dish.objects.get(farm_group=world.group),
        "threshold": Threshold.objects.get(farm_group=world.group),
        "blank": BlankWash.objects.get(farm_group=world.group),
        "alert": Alert.objects.get(farm_group=world.group),
        "treatment": _treat(world),
        **give_plan(world),
        **give_weather(world),
        **give_runs(world),
        **give_wash(world),
        **give_reference(world),
        "bag": _plan_bag(world),
        **give_reading(world),
    }
    first |= give_act(world, first["bag"])
    return FullWorld(
        world=world, block=world.block, sheet=sheet, boundary_import=begun, **first
    )
