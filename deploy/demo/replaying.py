"""Replay two seasons in their order: thresholds, sheets, densities and alerts.

Each step is done as of its own day, so that alerts have a history: raised, cleared,
and ended with their season.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import partial
from zoneinfo import ZoneInfo

from alerts.services.sweeps import judge_changes, judge_everything
from alerts.services.thresholds import Values, Watched, set_threshold, subscribe
from blocks.access import Member, member_for
from blocks.models import Block, Farm, FarmGroup, User
from blocks.tenancy import stating
from deploy.demo.almanac import LAST_SEASON, THIS_SEASON, TOURS, date_of
from deploy.demo.cell_sheets import cell_sheets
from deploy.demo.clumping import learn_from_last_season, learning_day
from deploy.demo.people import PEOPLE, DemoPerson
from deploy.demo.places import TIME_ZONE
from deploy.demo.quality import blank_sheets, recount_sheets
from deploy.demo.rewashes import rewash_sheets
from deploy.demo.sheets import DemoSheet, history_sheets, waiting_sheet
from deploy.demo.thresholds import SEASON_ENDS, THRESHOLDS, DemoThreshold
from deploy.demo.treatments import DemoTreatment, treatments
from monitoring.densities.store import compute_changed
from monitoring.models import Organism, Round, Sheet, Treatment
from monitoring.services.agreement import state_standard
from monitoring.services.treatments import Done, correct, record
from monitoring.sheets.services import answer, publish, receive
from monitoring.sheets.work import work_on

# The laboratory is done with a day's dishes by then.
EVENING = time(18, 0)
# Season and day on which the lab's standard of agreement was stated.
STANDARD_STATED = (LAST_SEASON, 100)
COORDINATOR, ANALYST = PEOPLE[0], PEOPLE[1]


class DemoLoadError(Exception):
    """The demo could not be loaded; the message says at what."""


@dataclass(frozen=True, slots=True)
class _Step:
    """Something that happened on a day of the replay."""

    day: date
    # Of one day: thresholds first, then counts, then the season's end.
    turn: int
    do: Callable[[datetime], None]


def replay(group: FarmGroup, farms: dict[str, Farm], *, today: date) -> None:
    """Do all steps, oldest first; who wants e-mail gets it from the newest only."""
    steps = sorted(
        [
            *_threshold_steps(group, farms, today),
            *_sheet_steps(group, today),
            *_season_ends(group, today),
            *_treatment_steps(group, today),
            _standard_step(group, today),
            _Step(learning_day(today=today), 1, partial(_learn, group, today)),
            # Nobody wants e-mail about last year: the newest tour is news, no other.
            _Step(
                date_of(THIS_SEASON, TOURS[-1].day, today=today),
                0,
                partial(_subscribe, group),
            ),
        ],
        key=lambda step: (step.day, step.turn),
    )
    for step in steps:
        step.do(datetime.combine(step.day, EVENING, ZoneInfo(TIME_ZONE)))


def as_member(group: FarmGroup, person: DemoPerson) -> Member:
    """Give a demo person's part in the group; the group is stated already."""
    return member_for(User.objects.get(email=person.email), group.slug)


def _threshold_steps(
    group: FarmGroup, farms: dict[str, Farm], today: date
) -> Iterator[_Step]:
    for one in THRESHOLDS:
        day = date_of(one.set_in, one.set_day, today=today)
        yield _Step(day, 1, partial(_set_threshold, group, farms, (one, today)))


def _set_threshold(
    group: FarmGroup,
    farms: dict[str, Farm],
    wanted: tuple[DemoThreshold, date],
    now: datetime,
) -> None:
    threshold, today = wanted
    season_from, season_until = (
        f"{date_of(THIS_SEASON, day, today=today):%m-%d}"
        for day in threshold.season_days
    )
    with stating(group.pk):
        organisms = {one.code: one for one in Organism.objects.for_group(group.pk)}
        prey = organisms[threshold.organism] if threshold.predator else None
        block = None
        if threshold.block:
            block = Block.objects.for_group(group.pk).get(name=threshold.block)
        set_threshold(
            as_member(group, COORDINATOR),
            Watched(
                tissue=threshold.tissue,
                organism=organisms[threshold.predator or threshold.organism],
                prey=prey,
                farm=farms[threshold.farm]
                if threshold.farm and block is None
                else None,
                block=block,
            ),
            Values(
                level=threshold.level,
                season_from=season_from,
                season_until=season_until,
            ),
            reason=threshold.why,
            now=now,
        )


def _standard_step(group: FarmGroup, today: date) -> _Step:
    """State the agreement that the lab asks of its counters from last season on."""
    day = date_of(*STANDARD_STATED, today=today)

    def state(_now: datetime) -> None:
        with stating(group.pk):
            state_standard(
                as_member(group, COORDINATOR),
                least_concordance=0.95,
                widest_ratio=1.5,
                valid_from=day,
                note="what two readings of a dish should keep to; invented",
            )

    return _Step(day, 1, state)


def _learn(group: FarmGroup, today: date, _now: datetime) -> None:
    with stating(group.pk):
        learn_from_last_season(as_member(group, COORDINATOR), today=today)


def _sheet_steps(group: FarmGroup, today: date) -> Iterator[_Step]:
    for sheet in (
        *history_sheets(today=today),
        *recount_sheets(today=today),
        *blank_sheets(today=today),
        *rewash_sheets(today=today),
        *cell_sheets(today=today),
        waiting_sheet(today=today),
    ):
        yield _Step(sheet.finished_on, 2, partial(_count, group, sheet))


def _count(group: FarmGroup, sheet: DemoSheet, now: datetime) -> None:
    """Upload a sheet, let it count, and judge by what it brought."""
    with stating(group.pk):
        member = as_member(group, ANALYST)
        content = sheet.text.encode()
        received, _ = receive(member, file_name=sheet.file_name, chunks=[content])
    work_on(group.pk, received.pk)
    if sheet.of_round:
        _say_which_round(group, received, sheet.of_round)
    with stating(group.pk):
        publish(member, received)
    state = work_on(group.pk, received.pk)
    if state != Sheet.State.PUBLISHED:
        raise DemoLoadError(f"{sheet.file_name} was left in state “{state}”.")
    compute_changed(group.pk)
    judge_changes(group.pk, now=now)


def _say_which_round(
    group: FarmGroup, received: Sheet, of_round: tuple[str, date]
) -> None:
    """Answer the question that codes used in several rounds raise."""
    block, day = of_round
    with stating(group.pk):
        visit = Round.objects.for_group(group.pk).get(
            block__name=block, collected_on=day
        )
        received.refresh_from_db()
        member = as_member(group, ANALYST)
        answer(member, received, answers={"round": str(visit.uuid)})
    work_on(group.pk, received.pk)


def _treatment_steps(group: FarmGroup, today: date) -> Iterator[_Step]:
    for one in treatments():
        day = date_of(one.season, one.day, today=today)
        yield _Step(day, 4, partial(_treat, group, one))


def _treat(group: FarmGroup, wanted: DemoTreatment, now: datetime) -> None:
    """Record a treatment, and mend it the next day where it was mistyped."""
    with stating(group.pk):
        member = as_member(group, COORDINATOR)
        blocks = {one.name: one for one in Block.objects.for_group(group.pk)}
        done = Done(
            treated_on=now.date(),
            category=Treatment.Category(wanted.product.category),
            active_ingredient=wanted.product.active_ingredient,
            treated=[blocks[wanted.block]],
            checks=[blocks[wanted.check]] if wanted.check else [],
            rate=wanted.product.rate,
            rate_unit=wanted.product.rate_unit,
            operator=wanted.operator,
            note="Invented, like everything in this farm group.",
        )
        if wanted.mistyped_rate is None:
            record(member, done, now=now)
            return
        mistyped = record(member, replace(done, rate=wanted.mistyped_rate), now=now)
        correct(
            member,
            mistyped,
            done,
            reason="the decimal point was left out",
            now=now + timedelta(days=1),
        )


def _season_ends(group: FarmGroup, today: date) -> Iterator[_Step]:
    """Judge everything after each season's end, as the daily run does."""
    for season, last_day in SEASON_ENDS:
        day = date_of(season, last_day + 2, today=today)
        yield _Step(day, 3, lambda now: _judge_everything(group, now))


def _judge_everything(group: FarmGroup, now: datetime) -> None:
    judge_everything(group.pk, now=now)


def _subscribe(group: FarmGroup, _now: datetime) -> None:
    with stating(group.pk):
        for person in PEOPLE:
            if person.wants_alerts:
                subscribe(as_member(group, person), by_email=True)
