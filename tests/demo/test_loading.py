"""The demo as loaded: through the services, once, and with a history."""

import json
import stat
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import transaction
from django.test import Client
from django.utils import timezone

from alerts.models import Alert, Message, Transition
from alerts.services.sweeps import judge_changes
from blocks.access import member_for
from blocks.models import Block, BlockBoundary, FarmGroup, Membership, User
from blocks.tenancy import stating
from deploy.demo.almanac import THIS_SEASON, TOURS, date_of
from deploy.demo.calibrations import demo_runs
from deploy.demo.cell_counts import BAGS_BY_CELL
from deploy.demo.cell_sheets import cell_sheets
from deploy.demo.handing_out import hand_out
from deploy.demo.laboratory import WASHED_OFF, usual_dish
from deploy.demo.loading import demo_group, demo_today, fresh_sheet_day, load
from deploy.demo.people import FORMER_ANALYST, PEOPLE
from deploy.demo.quality import recount_sheets, recounted_rounds
from deploy.demo.rewashes import WASHED_AGAIN, rewash_sheets
from deploy.demo.rounds import fresh_rounds, history
from deploy.demo.sheets import fresh_sheet
from deploy.demo.treatments import treatments
from monitoring.densities.store import compute_changed
from monitoring.models import (
    Bag,
    CalibrationRun,
    CellCount,
    Density,
    Organism,
    Round,
    RoundPlan,
    Sheet,
    SheetFinding,
    Tally,
    Wash,
    WashBatch,
)
from monitoring.models.treatments import Treatment
from monitoring.pages.recovery_page import recovery_page
from monitoring.queries.treatments import in_force
from monitoring.sheets.services import publish, receive
from monitoring.sheets.work import work_on

TODAY = demo_today()
RECOUNTED = [
    one
    for tour in TOURS
    if tour.season == THIS_SEASON and tour.tissue == "leaf"
    for one in recounted_rounds(tour)
]
# One for each tour, the list of this week's bags, which wait for their counts, the
# recounts of this season's tours of leaves, and the blanks of each season.
SHEETS = len(TOURS) + 1 + len(list(recount_sheets(today=TODAY))) + 2
SHEETS += len(list(rewash_sheets(today=TODAY))) + len(list(cell_sheets(today=TODAY)))
ALL_ROUNDS = (*history(), *fresh_rounds())
Kind = Transition.Kind
STANDING = {"Stony Rise", "Big Terrace", "Nettle Top", "Lower Cleft", "Dry Bank"}
# Treated, and falling: one round below the clear level does not end an alert.
FALLING = {"Wren Slope", "Two Springs"}


@pytest.fixture(scope="module")
def demo(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: Any
) -> Iterator[FarmGroup]:
    """Load once for this file, in a transaction that is given up at its end."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "FILES_DIR", tmp_path_factory.mktemp("files"))
        with django_db_blocker.unblock(), transaction.atomic():
            yield load(today=TODAY).group
            transaction.set_rollback(True)


@pytest.fixture
def undone(demo: FarmGroup) -> Iterator[FarmGroup]:
    """Give the demo to one test, and undo what the test does to it."""
    with transaction.atomic():
        yield demo
        transaction.set_rollback(True)


def _user(role: str) -> User:
    [email, *_] = [person.email for person in PEOPLE if person.role == role]
    return User.objects.get(email=email)


def test_newest_rounds_have_batches_that_say_what_their_sheets_said(
    demo: FarmGroup,
) -> None:
    with stating(demo.pk):
        batches = WashBatch.objects.for_group(demo.pk)
        washes = list(Wash.objects.for_group(demo.pk).filter(batch__in=batches))
        assert batches.values("round").distinct().count() == 4
        assert len(washes) == sum(len(one.bags) for one in batches)
        # Some were washed otherwise than common practice, and most as it says.
        departed = [one for one in batches if one.departures]
        assert 0 < len(departed) < len(batches)
    assert all(wash.washed_on and wash.alcohol_percent for wash in washes)


def test_places_and_people_are_there(demo: FarmGroup) -> None:
    with stating(demo.pk):
        assert demo.is_demo
        assert Block.objects.for_group(demo.pk).count() == 18
        areas = BlockBoundary.objects.for_group(demo.pk).values_list("area_m2")
        assert all(4_000 < area < 60_000 for (area,) in areas)
        roles = Counter(
            Membership.objects.for_group(demo.pk).values_list("role", flat=True)
        )
    assert roles == {"coordinator": 1, "lab": 2, "consultant": 1, "grower": 1}


def test_a_round_to_come_has_its_bags_labelled_at_the_vines_of_its_plan(
    demo: FarmGroup,
) -> None:
    with stating(demo.pk):
        (coming,) = Round.objects.for_group(demo.pk).filter(collected_on__gt=TODAY)
        bags = list(coming.bags.order_by("pk"))
        plan = RoundPlan.objects.for_group(demo.pk).get(block=coming.block)
        points = list(plan.points.order_by("number"))
    assert coming.collected_on == plan.planned_on
    assert {bag.way for bag in bags} == {"planned"}
    assert all(bag.label for bag in bags)
    assert [(bag.position, bag.point) for bag in bags] == [
        (point.position, point.point) for point in points
    ]
    assert 5 <= len(bags) <= 60


def test_every_count_came_in_through_a_published_sheet(demo: FarmGroup) -> None:
    expected = sum(
        seen.count is not None or seen.uncountable
        for one in (*history(), *RECOUNTED)
        for bag in one.bags
        for reading in bag.readings
        for seen in reading.seen.values()
    )
    with stating(demo.pk):
        sheets = Sheet.objects.for_group(demo.pk)
        assert [sheet.state for sheet in sheets] == ["published"] * SHEETS
        walked = Round.objects.for_group(demo.pk).filter(collected_on__lte=TODAY)
        assert walked.count() == len(ALL_ROUNDS)
        first_washes = Tally.objects.for_group(demo.pk).filter(wash__number=1)
        assert first_washes.count() == expected
        named = CellCount.objects.for_group(demo.pk).values_list("cell", flat=True)
        assert named
        assert set(named) <= set(usual_dish().cell_names)
        by_cell = CellCount.objects.for_group(demo.pk).filter(count__isnull=False)
        assert by_cell.values("tally").distinct().count() == BAGS_BY_CELL


def test_sheets_bring_warnings_at_most(demo: FarmGroup) -> None:
    with stating(demo.pk):
        findings = list(SheetFinding.objects.for_group(demo.pk))
    assert {finding.level for finding in findings} == {"warning"}
    assert {finding.seen for finding in findings} == {FORMER_ANALYST}


def test_bags_hang_inside_the_boundary_of_their_block(demo: FarmGroup) -> None:
    with stating(demo.pk):
        # A centimetre or two for coordinates of 7 decimals.
        areas = {
            row.block_id: row.geometry.buffer(2e-7)
            for row in BlockBoundary.objects.for_group(demo.pk)
        }
        bags = Bag.objects.for_group(demo.pk).exclude(way=Bag.Way.PLANNED)
        assert bags.count() == sum(len(one.bags) for one in ALL_ROUNDS)
        assert not bags.filter(point=None).exists()
        for bag in bags.filter(code__endswith="-07").select_related("round"):
            assert areas[bag.round.block_id].contains(bag.point)


def test_stored_densities_hold_the_simulated_truth(demo: FarmGroup) -> None:
    """Stored intervals of 95 in 100, leaves, against the simulator's own numbers."""
    truth = {
        (one.block.name, date_of(one.season, one.day, today=TODAY)): one.truth
        for one in history()
        if one.tissue == "leaf"
    }
    with stating(demo.pk):
        rows = list(
            Density.objects.for_group(demo.pk)
            .filter(
                tissue="leaf",
                stratum="",
                organism__code="rust_mites",
                is_current=True,
            )
            .select_related("round__block")
        )
    assert len(rows) == len(truth)
    held = [
        row.low
        <= truth[row.round.block.name, row.round.collected_on]["rust_mites"]
        <= (float("inf") if row.high is None else row.high)
        for row in rows
    ]
    assert 0.90 < sum(held) / len(held) < 0.99


def test_alerts_have_a_history_of_two_seasons(demo: FarmGroup) -> None:
    with stating(demo.pk):
        steps = list(Transition.objects.for_group(demo.pk))
        open_now = Alert.objects.for_group(demo.pk).filter(ended_at=None)
        names = open_now.filter(prey=None).values_list("block__name", flat=True)
        assert set(names) == STANDING | FALLING
        assert open_now.filter(prey__isnull=False).exists()
    kinds = Counter(step.kind for step in steps)
    assert kinds[Kind.RAISED] >= 10
    assert kinds[Kind.CLEARED] >= 4
    assert kinds[Kind.SEASON_OVER] >= 2
    this_season = date_of(1, 90, today=TODAY)
    assert {step.at.date() < this_season for step in steps} == {True, False}
    assert max(step.at for step in steps) < timezone.now()


def test_treatments_stand_in_the_books_on_their_own_days(demo: FarmGroup) -> None:
    with stating(demo.pk):
        standing = list(in_force(demo.pk))
        records = Treatment.objects.for_group(demo.pk).count()
    days = sorted(date_of(one.season, one.day, today=TODAY) for one in treatments())
    assert sorted(one.treated_on for one in standing) == days
    # One rate was mistyped, and corrected the day after.
    assert records == len(days) + 1
    [corrected] = [one for one in standing if one.reason]
    assert (corrected.recorded_at.date() - corrected.treated_on).days == 1


def test_only_the_newest_tour_sends_mail(demo: FarmGroup) -> None:
    newest = date_of(1, TOURS[-1].day, today=TODAY)
    with stating(demo.pk):
        messages = list(
            Message.objects.for_group(demo.pk).select_related("transition", "recipient")
        )
        assert messages
        assert all(one.transition.at.date() >= newest for one in messages)
        roles = {one.recipient.role for one in messages}
    assert roles == {"consultant", "grower"}


def test_loading_again_keeps_everything(undone: FarmGroup) -> None:
    again = load(today=TODAY)
    assert again.group == undone
    assert not again.is_new
    with stating(undone.pk):
        assert Sheet.objects.for_group(undone.pk).count() == SHEETS


def test_other_groups_are_not_taken_for_the_demo(undone: FarmGroup) -> None:
    with stating(undone.pk):
        FarmGroup.objects.filter(pk=undone.pk).update(is_demo=False)
    assert demo_group() is None


def test_logins_are_random_private_and_kept(undone: FarmGroup, tmp_path: Path) -> None:
    hand_out(tmp_path, today=TODAY)
    file = tmp_path / "demo-logins.json"
    logins = json.loads(file.read_text())
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert [one["role"] for one in logins] == [
        "coordinator",
        "lab analyst",
        "lab analyst",
        "consultant",
        "grower",
    ]
    assert len({one["password"] for one in logins}) == len(logins)
    for one in logins:
        assert User.objects.get(email=one["email"]).check_password(one["password"])
    hand_out(tmp_path, today=TODAY)
    assert json.loads(file.read_text()) == logins
    file.unlink()
    hand_out(tmp_path, today=TODAY)
    renewed = json.loads(file.read_text())
    assert User.objects.get(email=renewed[0]["email"]).check_password(
        renewed[0]["password"]
    )
    assert renewed[0]["password"] != logins[0]["password"]


def test_fresh_sheet_lies_beside_the_logins(undone: FarmGroup, tmp_path: Path) -> None:
    hand_out(tmp_path, today=TODAY)
    written = (tmp_path / "fresh-sheet.csv").read_bytes()
    assert written == fresh_sheet(today=TODAY).text.encode()


@pytest.mark.parametrize(
    ("role", "status"),
    [("coordinator", 200), ("lab", 200), ("consultant", 403), ("grower", 403)],
)
def test_laboratory_downloads_the_fresh_sheet(
    undone: FarmGroup, role: str, status: int
) -> None:
    client = Client()
    client.force_login(_user(role))
    answer = client.get(f"/g/{undone.slug}/fresh-sheet.csv")
    assert answer.status_code == status
    if status == 200:
        assert answer.content == fresh_sheet(today=demo_today()).text.encode()
        assert "attachment" in answer["Content-Disposition"]


def _upload_fresh_sheet(group: FarmGroup) -> None:
    sheet = fresh_sheet(today=TODAY)
    with stating(group.pk):
        member = member_for(_user("lab"), group.slug)
        received, _ = receive(
            member, file_name=sheet.file_name, chunks=[sheet.text.encode()]
        )
    assert work_on(group.pk, received.pk) == "checked"
    with stating(group.pk):
        publish(member, received)
    assert work_on(group.pk, received.pk) == "published"


def test_fresh_sheet_counts_the_bags_that_wait(undone: FarmGroup) -> None:
    with stating(undone.pk):
        waiting = Bag.objects.for_group(undone.pk).filter(
            round__collected_on__range=(TODAY - timedelta(2), TODAY)
        )
        assert waiting.count() == sum(len(one.bags) for one in fresh_rounds())
        assert {bag.way for bag in waiting} == {"collected"}
        assert all(bag.label for bag in waiting)
    _upload_fresh_sheet(undone)
    with stating(undone.pk):
        assert waiting.all().count() == sum(len(one.bags) for one in fresh_rounds())
        assert {bag.way for bag in waiting.all()} == {"counted"}
        assert not waiting.filter(point=None).exists()


@pytest.mark.parametrize(("days", "laid_from"), [(0, 0), (7, 0), (8, 8), (300, 300)])
def test_fresh_sheet_fits_the_waiting_bags_for_a_week(
    undone: FarmGroup, days: int, laid_from: int
) -> None:
    loaded_on = undone.created_at.astimezone(undone.zone).date()
    day = fresh_sheet_day(undone, today=loaded_on + timedelta(days))
    assert day == loaded_on + timedelta(laid_from)


def test_fresh_sheet_raises_one_alert_and_tells_who_wants_to_know(
    undone: FarmGroup,
) -> None:
    with stating(undone.pk):
        before = set(Transition.objects.for_group(undone.pk).values_list("pk"))
    _upload_fresh_sheet(undone)
    assert compute_changed(undone.pk) == 3
    assert judge_changes(undone.pk, now=timezone.now()) == 1
    with stating(undone.pk):
        [step] = [
            one
            for one in Transition.objects.for_group(undone.pk).select_related(
                "alert__block"
            )
            if (one.pk,) not in before
        ]
        assert (step.kind, step.alert.block.name) == (Kind.RAISED, "Long Bend")
        messages = Message.objects.for_group(undone.pk).filter(transition=step)
        told = {one.recipient.role: one for one in messages.select_related("recipient")}
    assert set(told) == {"consultant", "grower"}
    [truth] = [
        one.truth["rust_mites"]
        for one in fresh_rounds()
        if one.block.name == "Long Bend"
    ]
    assert step.median is not None
    assert step.low is not None
    assert step.high is not None
    assert step.low < truth < step.high
    median, low, high = (
        f"{float(f'{value:.2g}'):,.0f}" for value in (step.median, step.low, step.high)
    )
    said = f"rust mites about {median} per leaf ({low} to {high})"
    assert said in told["consultant"].text


def test_calibration_runs_stand_and_one_is_in_force(demo: FarmGroup) -> None:
    with stating(demo.pk):
        runs = CalibrationRun.objects.for_group(demo.pk)
        assert Counter(runs.values_list("state", flat=True)) == {
            "standing": len(list(demo_runs())),
            "withdrawn": 1,
        }
        mites = Organism.objects.for_group(demo.pk).get(code="rust_mites")
        page = recovery_page(demo, mites, "leaf", method="", on=TODAY)
        assert page.in_force is not None
        assert page.in_force.origin == "repeat_washes"
        assert len(page.in_force.basis["runs"]) == 6
        washes = page.parts[0].pool
        out_of_sheets = [run for run in washes.runs if run.source == "sheets"]
        assert len(out_of_sheets) >= len(WASHED_AGAIN)
        # What the simulated washes bring off lies where a run to come would.
        assert washes.new_run[0] < WASHED_OFF["leaf"][0] < washes.new_run[1]
