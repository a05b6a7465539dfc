"""Alerts follow figures and thresholds, once each."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from threading import Barrier, Thread

import pytest
from django.db import IntegrityError, connection, transaction

from alerts import tasks
from alerts.models import Alert, Message, ThresholdVersion, Transition
from alerts.services import lifecycle
from alerts.services.sweeps import judge_changes, judge_everything
from alerts.services.thresholds import (
    Values,
    Watched,
    change_threshold,
    newest_version,
    remove_threshold,
    set_threshold,
)
from blocks.errors import ConflictError
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import DensityChange, Organism
from tests.alerts.conftest import (
    DAY,
    HIGH,
    LOW,
    NOW,
    judge,
    kinds,
    let_subscribe,
    member,
    publish,
    set_mite_threshold,
)
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db(databases=["default", "owner"])


def test_an_alert_is_raised_with_the_right_numbers_and_one_message(
    world: World,
) -> None:
    set_mite_threshold(world)
    let_subscribe(world, "consultant")
    publish(world, HIGH)
    assert judge(world) == 1
    with stating(world.group.pk):
        step = Transition.objects.select_related("alert").get()
        assert step.kind == "raised"
        assert step.alert.block == world.block
        assert step.chance is not None
        assert step.chance > 0.99
        assert step.bags == 6
        assert "50 per leaf" in step.sentence
        message = Message.objects.get()
        assert step.sentence in message.text
        assert message.recipient.user == world.people["consultant"]


def test_judging_again_changes_nothing(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    assert judge(world) == 1
    assert judge_everything(world.group.pk, now=NOW) == 0
    assert kinds(world) == ["raised"]


def test_an_alert_is_cleared_after_two_low_rounds(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    publish(world, LOW, on=DAY + timedelta(days=7))
    assert judge(world, now=NOW + timedelta(days=7)) == 0
    publish(world, LOW, on=DAY + timedelta(days=14))
    assert judge(world, now=NOW + timedelta(days=14)) == 1
    assert kinds(world) == ["raised", "cleared"]
    with stating(world.group.pk):
        assert Alert.objects.get().ended_at is not None


def test_too_few_bags_judge_nothing(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH[:4])
    assert judge(world) == 0


def test_an_uncountable_bag_may_raise_and_never_clears(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    desk = Desk(world)
    for week in (1, 2, 3):
        day = DAY + timedelta(days=7 * week)
        rows = [bag_row(bag=i, collected_on=day, washed_on="", rust_mites=x)
                for i, x in enumerate([*LOW, "uncountable"])]  # fmt: skip
        desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(world.group.pk)
    assert judge(world, now=NOW + timedelta(days=21)) == 0
    assert kinds(world) == ["raised"]


def test_the_nearest_threshold_wins(world: World) -> None:
    set_mite_threshold(world, level=50)
    with transaction.atomic():
        mites = Organism.objects.filter(farm_group=world.group)
        who = member(world)
        set_threshold(
            who,
            Watched(tissue="leaf", organism=mites.get(code="rust_mites"),
                    block=world.block),
            Values(level=5000),
            reason="young vines",
            now=NOW,
        )  # fmt: skip
    publish(world, HIGH)
    publish(world, HIGH, block="Block 1")
    judge(world)
    with stating(world.group.pk):
        assert Alert.objects.get().block == world.blocks[1]


def test_a_changed_threshold_judges_standing_alerts_at_once(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with transaction.atomic():
        who = member(world)
        threshold = Transition.objects.get().version.threshold
        change_threshold(who, threshold, Values(level=100), seen_number=1,
                         reason="last year's scars", now=NOW)  # fmt: skip
    assert kinds(world) == ["raised", "kept"]
    with transaction.atomic():
        change_threshold(member(world), threshold, Values(level=9000), seen_number=2,
                         reason="too strict", now=NOW)  # fmt: skip
    assert kinds(world) == ["raised", "kept", "cleared"]
    with stating(world.group.pk):
        assert "too strict" in Transition.objects.latest("pk").reason


def test_a_removed_threshold_ends_its_alerts(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with transaction.atomic():
        who = member(world)
        threshold = Transition.objects.get().version.threshold
        remove_threshold(who, threshold, reason="", now=NOW)
        version = newest_version(threshold)
        assert version is not None
        assert version.removed
    assert kinds(world) == ["raised", "removed"]


def test_alerts_end_with_the_season(world: World) -> None:
    set_mite_threshold(world, season_from="05-01", season_until="09-30")
    publish(world, HIGH)
    judge(world)
    assert judge_everything(world.group.pk, now=datetime(2026, 10, 2, tzinfo=UTC)) == 1
    assert kinds(world) == ["raised", "season_over"]


def test_old_rounds_change_states_and_send_nothing(world: World) -> None:
    set_mite_threshold(world)
    let_subscribe(world, "consultant")
    publish(world, HIGH)
    judge(world, now=NOW + timedelta(days=30))
    with stating(world.group.pk):
        assert Transition.objects.get().quiet
        assert not Message.objects.exists()


def test_a_ratio_threshold_raises_when_predators_are_few(world: World) -> None:
    with transaction.atomic():
        who = member(world)
        organisms = Organism.objects.filter(farm_group=world.group)
        set_threshold(
            who,
            Watched(tissue="leaf", organism=organisms.get(code="predatory_mites"),
                    prey=organisms.get(code="rust_mites")),
            Values(level=1 / 100),
            reason="",
            now=NOW,
        )  # fmt: skip
    publish(world, [0, 0, 0, 0, 0, 0])
    assert judge(world) == 0
    publish(world, HIGH, on=DAY + timedelta(days=3))
    assert judge(world, now=NOW + timedelta(days=3)) == 1
    with stating(world.group.pk):
        assert "one to 100" in Transition.objects.get().sentence


def test_a_worker_killed_in_the_middle_loses_and_doubles_nothing(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_mite_threshold(world)
    let_subscribe(world, "consultant")
    publish(world, HIGH)

    def die(*_: object) -> None:
        raise SystemExit

    with monkeypatch.context() as patch:
        patch.setattr(lifecycle, "write_messages", die)
        with pytest.raises(SystemExit):
            judge(world)
    assert kinds(world) == []
    assert judge(world) == 1
    with stating(world.group.pk):
        assert Message.objects.count() == 1
        assert not DensityChange.objects.exists()


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_two_workers_racing_write_one_transition(
    make_world: Callable[..., World],
) -> None:
    world = make_world()
    set_mite_threshold(world)
    publish(world, HIGH)
    with stating(world.group.pk):
        DensityChange.objects.all().delete()
    barrier = Barrier(2)

    def work() -> None:
        try:
            barrier.wait(timeout=20)
            judge_everything(world.group.pk, now=NOW)
        finally:
            connection.close()

    workers = [Thread(target=work) for _ in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=60)
    assert kinds(world) == ["raised"]


def test_a_changed_threshold_leaves_other_subjects_histories_alone(
    world: World,
) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with transaction.atomic():
        thrips = Organism.objects.filter(farm_group=world.group)
        who = member(world)
        set_threshold(
            who,
            Watched(tissue="leaf", organism=thrips.get(code="thrips")),
            Values(level=2000),
            reason="new this year",
            now=NOW,
        )
    assert kinds(world) == ["raised"]


def test_people_told_of_an_alert_are_told_that_a_changed_threshold_ended_it(
    world: World,
) -> None:
    let_subscribe(world, "consultant")
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with transaction.atomic():
        who = member(world)
        threshold = Transition.objects.get().version.threshold
        change_threshold(who, threshold, Values(level=9000), seen_number=1,
                         reason="", now=NOW + timedelta(days=25))  # fmt: skip
    with stating(world.group.pk):
        last = Transition.objects.latest("pk")
        assert "does not cross the threshold of 9,000 per leaf" in last.sentence
        assert not last.quiet
        assert last.messages.count() == 1


def test_an_alert_raised_quietly_ends_quietly(world: World) -> None:
    let_subscribe(world, "consultant")
    set_mite_threshold(world)
    publish(world, HIGH)
    later = NOW + timedelta(days=30)
    judge(world, now=later)
    with transaction.atomic():
        who = member(world)
        threshold = Transition.objects.get().version.threshold
        change_threshold(who, threshold, Values(level=9000), seen_number=1,
                         reason="", now=later)  # fmt: skip
    assert kinds(world) == ["raised", "cleared"]
    with stating(world.group.pk):
        assert not Message.objects.exists()


def test_a_raised_alert_stands_over_the_new_year(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    assert judge_everything(world.group.pk, now=datetime(2027, 1, 2, tzinfo=UTC)) == 0
    assert judge_everything(world.group.pk, now=datetime(2027, 9, 1, tzinfo=UTC)) == 1
    assert kinds(world) == ["raised", "season_over"]


def test_a_ratio_with_uncountable_predators_judges_nothing(world: World) -> None:
    with transaction.atomic():
        who = member(world)
        organisms = Organism.objects.filter(farm_group=world.group)
        set_threshold(
            who,
            Watched(tissue="leaf", organism=organisms.get(code="predatory_mites"),
                    prey=organisms.get(code="rust_mites")),
            Values(level=1 / 100), reason="", now=NOW,
        )  # fmt: skip
    desk = Desk(world)
    rows = [bag_row(bag=i, washed_on="", rust_mites=count, predatory_mites=seen)
            for i, (count, seen) in enumerate(
                zip([*HIGH, 300], [0, 0, 0, 0, 0, 0, "uncountable"], strict=True))
            ]  # fmt: skip
    desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(world.group.pk)
    assert judge(world) == 0


@pytest.mark.parametrize(
    "write",
    [
        lambda: Transition.objects.update(sentence="nothing happened"),
        lambda: Transition.objects.all().delete(),
        lambda: ThresholdVersion.objects.update(level=1),
    ],
)
def test_history_is_only_added_to(world: World, write: Callable[[], object]) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with pytest.raises(IntegrityError, match="only added to"), stating(world.group.pk):
        write()


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_of_two_people_setting_the_same_threshold_one_is_told(
    make_world: Callable[..., World],
) -> None:
    world = make_world()
    barrier = Barrier(2)
    ends: list[str] = []

    def work() -> None:
        try:
            barrier.wait(timeout=20)
            set_mite_threshold(world)
            ends.append("set")
        except ConflictError:
            ends.append("told")
        finally:
            connection.close()

    workers = [Thread(target=work) for _ in range(2)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(timeout=60)
    assert sorted(ends) == ["set", "told"]


def test_one_groups_fault_stops_no_other(
    make_world: Callable[..., World], monkeypatch: pytest.MonkeyPatch
) -> None:
    broken, sound = make_world(), make_world()
    for one in (broken, sound):
        set_mite_threshold(one)
        publish(one, HIGH, block=one.block.name)

    def fail_first(group_id: int, *, now: datetime) -> int:
        if group_id == broken.group.pk:
            raise RuntimeError("a fault of this group")
        return judge_changes(group_id, now=NOW)

    monkeypatch.setattr(tasks, "judge_changes", fail_first)
    with pytest.raises(ExceptionGroup):
        tasks.evaluate_changes()
    assert kinds(broken) == []
    assert kinds(sound) == ["raised"]


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_worker_killed_at_any_statement_loses_and_doubles_nothing(
    make_world: Callable[..., World],
) -> None:
    world = make_world()
    let_subscribe(world, "consultant", "grower")
    set_mite_threshold(world)
    publish(world, HIGH)
    kills, finished, steps = 0, False, kinds(world)
    while not finished:
        try:
            with connection.execute_wrapper(Killer(kills)):
                judge(world)
            finished = True
        except SystemExit:
            kills += 1
        steps = kinds(world)
        with stating(world.group.pk):
            # All of it or nothing.
            assert Message.objects.count() == 2 * len(steps)
            assert DensityChange.objects.exists() is (steps == [])
    assert kills > 15
    assert steps == ["raised"]


class Killer:
    """End the worker before its statement of a number."""

    def __init__(self, number: int) -> None:
        self.left = number

    def __call__(self, execute: Callable[..., object], *statement: object) -> object:
        if self.left == 0:
            raise SystemExit
        self.left -= 1
        return execute(*statement)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_a_worker_and_a_changed_threshold_end_in_step(
    make_world: Callable[..., World],
) -> None:
    world = make_world()
    set_mite_threshold(world)
    publish(world, HIGH, block=world.block.name)
    with stating(world.group.pk):
        threshold = ThresholdVersion.objects.select_related("threshold").get().threshold
    barrier = Barrier(2)

    def work() -> None:
        barrier.wait(timeout=20)
        judge(world)

    def rule() -> None:
        barrier.wait(timeout=20)
        with transaction.atomic():
            who = member(world)
            change_threshold(who, threshold, Values(level=9000), seen_number=1,
                             reason="", now=NOW)  # fmt: skip

    def end_connection(do: Callable[[], None]) -> None:
        try:
            do()
        finally:
            connection.close()

    threads = [Thread(target=end_connection, args=[do]) for do in (work, rule)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    # Whoever came first: nothing stands by the new version, and steps alternate.
    assert kinds(world) in ([], ["raised", "cleared"])
    with stating(world.group.pk):
        assert not Alert.objects.filter(ended_at=None).exists()
        assert ThresholdVersion.objects.count() == 2
    assert judge_everything(world.group.pk, now=NOW) == 0
