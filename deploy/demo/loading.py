"""Load the invented farm group through the same services that people use."""

from datetime import date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

from django.db import connection, transaction

from blocks.models import Farm, FarmGroup, Membership, User
from blocks.services import boundaries
from blocks.services.groups import add_farm, add_member, create_farm_group
from blocks.tenancy import farm_group_ids, stating
from deploy.demo.almanac import LAST_SEASON, date_of
from deploy.demo.bags import label_waiting_bags
from deploy.demo.calibrations import load_calibrations
from deploy.demo.people import PEOPLE
from deploy.demo.places import (
    FARM_NAMES,
    GROUP_NAME,
    GROUP_SLUG,
    TIME_ZONE,
    blocks_geojson,
)
from deploy.demo.plans import load_plans
from deploy.demo.replaying import as_member, replay
from deploy.demo.rounds import fresh_rounds, history
from deploy.demo.symptoms import LEVELS
from deploy.demo.training import load_training
from deploy.demo.washing import load_washing
from deploy.demo.weather import load_weather
from monitoring.models import SymptomScale
from monitoring.services.laboratory import set_up_laboratory

# Before the first visit of the demo.
FIRST_DAY = 60
# So long the bags that came in on the day of loading may wait for their counts.
WAITING_FOR = timedelta(days=7)


class Loaded(NamedTuple):
    """The demo's farm group, and whether it was made just now."""

    group: FarmGroup
    is_new: bool


def demo_today() -> date:
    """Give today's date where the demo's farms lie."""
    return datetime.now(ZoneInfo(TIME_ZONE)).date()


def demo_group() -> FarmGroup | None:
    """Find the demo's farm group; a query for each farm group there is."""
    for key in farm_group_ids():
        with stating(key):
            group = FarmGroup.objects.get(pk=key)
            if group.is_demo and group.slug == GROUP_SLUG:
                return group
    return None


@transaction.atomic
def load(*, today: date) -> Loaded:
    """Load everything or nothing; what was loaded before is kept as it is."""
    there = demo_group()
    if there is not None:
        return Loaded(there, is_new=False)
    _plan_without_statistics()
    group = create_farm_group(
        name=GROUP_NAME, slug=GROUP_SLUG, time_zone=TIME_ZONE, is_demo=True
    )
    set_up_laboratory(group)
    _name_scores(group)
    farms = {name: add_farm(group, name=name) for name in FARM_NAMES}
    begun_on = date_of(LAST_SEASON, FIRST_DAY, today=today)
    _add_people(group, farms, valid_from=begun_on)
    _import_blocks(group, valid_from=begun_on)
    load_calibrations(group, today=today)
    replay(group, farms, today=today)
    load_washing(group)
    load_weather(group, farms, today=today)
    load_plans(group, today=today)
    load_training(group)
    _place_bags(group, today=today)
    label_waiting_bags(group)
    return Loaded(group, is_new=True)


def fresh_sheet_day(group: FarmGroup, *, today: date) -> date:
    """Give the day that the fresh sheet is laid from.

    For a week that is the day of loading, since the sheet counts the bags that came in
    then; later it is today, so that the sheet is always of this week.
    """
    loaded_on = group.created_at.astimezone(group.zone).date()
    return loaded_on if today - loaded_on <= WAITING_FOR else today


def _plan_without_statistics() -> None:
    """Keep the planner from nested loops for this transaction.

    Tables filled a moment ago have no statistics, and only their owner may gather
    them; taken for empty, they would be looped over again and again.
    """
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_nestloop = off")
        # A plan that must loop all the same looks dear, and is not worth compiling.
        cursor.execute("SET LOCAL jit = off")


def _add_people(group: FarmGroup, farms: dict[str, Farm], *, valid_from: date) -> None:
    for person in PEOPLE:
        user = User.objects.filter(email=person.email).first()
        if user is None:
            user = User.objects.create_user(email=person.email, name=person.name)
        add_member(
            group,
            user=user,
            role=Membership.Role(person.role),
            farms=[farms[person.farm]] if person.farm else None,
            valid_from=valid_from,
        )


def _name_scores(group: FarmGroup) -> None:
    with stating(group.pk):
        SymptomScale.objects.filter(farm_group=group).update(level_names=list(LEVELS))


def _import_blocks(group: FarmGroup, *, valid_from: date) -> None:
    """Import the boundary file as the coordinator would."""
    with stating(group.pk):
        begun = boundaries.receive(
            as_member(group, PEOPLE[0]),
            file_name="blocks.geojson",
            chunks=[blocks_geojson().encode()],
            farm=None,
            valid_from=valid_from,
        )
        boundaries.publish(begun)


def _place_bags(group: FarmGroup, *, today: date) -> None:
    """Say where each bag's leaf hung; count sheets have no column for that."""
    bags = [
        (sampled.block.name, date_of(sampled.season, sampled.day, today=today), bag)
        for sampled in (*history(), *fresh_rounds())
        for bag in sampled.bags
    ]
    with stating(group.pk), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE monitoring_bag b"
            " SET point = ST_SetSRID(ST_MakePoint(s.longitude, s.latitude), 4326)"
            " FROM unnest(%s::text[], %s::date[], %s::text[], %s::float8[],"
            " %s::float8[]) AS s (block, day, code, longitude, latitude)"
            " JOIN blocks_block k ON k.farm_group_id = %s AND k.name = s.block"
            " JOIN monitoring_round r ON r.farm_group_id = k.farm_group_id"
            " AND r.block_id = k.id AND r.collected_on = s.day"
            " WHERE b.farm_group_id = r.farm_group_id AND b.round_id = r.id"
            " AND b.code = s.code",
            [
                [block for block, _, _ in bags],
                [day for _, day, _ in bags],
                [bag.code for _, _, bag in bags],
                [bag.point[0] for _, _, bag in bags],
                [bag.point[1] for _, _, bag in bags],
                group.pk,
            ],
        )
