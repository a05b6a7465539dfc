"""A bag's way: each step with who and when, odd ones refused in words."""

import pytest
from django.db import DatabaseError, connection, transaction

from blocks.tenancy import stating
from monitoring.densities.samples import samples_of_rounds
from monitoring.densities.store import compute_changed
from monitoring.models import Bag, BagStep, Density, RoundChange
from monitoring.services.bag_ways import WrongStepError
from monitoring.services.washing import Washed, enter_batch, withdraw_batch
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.bags.bench import DAY, Bench

pytestmark = pytest.mark.django_db
Way = Bag.Way


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


def test_bags_are_planned_with_numbers_and_labels(bench: Bench) -> None:
    first, more = bench.make(), bench.make(numbers={"low": 1})
    assert [(bag.code, bag.position, bag.way) for bag in (*first, *more)] == [
        ("1", "upper", "planned"),
        ("2", "mid", "planned"),
        ("3", "mid", "planned"),
        ("4", "low", "planned"),
    ]
    assert len({bag.label for bag in (*first, *more)}) == 4
    assert len({bag.round_id for bag in (*first, *more)}) == 1


def test_each_step_is_kept_with_who_and_when(bench: Bench) -> None:
    bag, *_ = bench.make()
    bench.take(bag, "collected", "received", "washed")
    assert bench.steps(bag) == [
        ("", "planned"),
        ("planned", "collected"),
        ("collected", "received"),
        ("received", "washed"),
    ]
    with stating(bench.world.group.pk):
        steps = list(BagStep.objects.filter(bag=bag).order_by("pk"))
    assert {step.noted_by_id for step in steps} == {bench.world.people["lab"].pk}
    assert steps == sorted(steps, key=lambda step: step.noted_at)


@pytest.mark.parametrize(
    ("there", "way", "words"),
    [
        ([], "planned", "Bag 1 is planned already"),
        ([], "washed", "is planned, and cannot become washed from there"),
        ([], "counted", "becomes counted when its counts are published"),
        (["collected"], "reported", "only a bag that is counted is reported"),
        (["collected", "received"], "collected", "Say in the note why it goes back"),
        (["lost"], "received", "Say in the note why it goes back to received"),
    ],
)
def test_odd_steps_are_refused_in_words(
    bench: Bench, there: list[str], way: str, words: str
) -> None:
    bag, *_ = bench.make()
    bench.take(bag, *there)
    before = bench.steps(bag)
    with pytest.raises(WrongStepError) as refused:
        bench.move(way, bag)
    assert words in refused.value.sentence
    assert bench.steps(bag) == before


def test_all_bags_take_the_step_or_none_does(bench: Bench) -> None:
    one, other, _ = bench.make()
    bench.move("collected", one)
    with pytest.raises(WrongStepError):
        bench.move("washed", one, other)
    assert [bench.way(one), bench.way(other)] == ["collected", "planned"]


def test_a_step_back_is_kept_with_its_reason(bench: Bench) -> None:
    bag, *_ = bench.make()
    bench.take(bag, "collected", "received")
    bench.move("collected", bag, note="  another bag was meant ")
    with stating(bench.world.group.pk):
        last = BagStep.objects.filter(bag=bag).order_by("pk").last()
    assert last is not None
    assert (last.before, last.way) == ("received", "collected")
    assert last.note == "another bag was meant"


@pytest.mark.parametrize("change", ["UPDATE {} SET note = 'x'", "DELETE FROM {}"])
def test_the_database_keeps_steps_as_they_are(bench: Bench, change: str) -> None:
    bench.make()
    statement = change.format(BagStep._meta.db_table)
    with (
        stating(bench.world.group.pk),
        connection.cursor() as cursor,
        pytest.raises(DatabaseError, match="only added to"),
        transaction.atomic(),
    ):
        cursor.execute(statement)


def test_published_counts_take_a_planned_bag_to_counted(bench: Bench) -> None:
    _, bag, lost = bench.make()
    bench.move("lost", lost)
    desk = Desk(bench.world)
    rows = [bag_row(bag=one.code, position="mid") for one in (bag, lost)]
    desk.publish(desk.upload(bag_sheet(*rows)))
    assert bench.steps(bag)[-1] == ("planned", "counted")
    # One that was lost and has counts after all is found.
    assert bench.steps(lost)[-1] == ("lost", "counted")
    with stating(bench.world.group.pk):
        assert Bag.objects.count() == 3
        assert BagStep.objects.get(bag=bag, way="counted").noted_by is not None
    bench.move("reported", bag)
    with pytest.raises(WrongStepError, match="its counts stand"):
        bench.move("lost", bag)


def test_figures_are_due_again_when_a_bag_gets_lost(bench: Bench) -> None:
    _, bag, other = bench.make()
    desk = Desk(bench.world)
    desk.publish(desk.upload(bag_sheet(bag_row(bag=bag.code, position="mid"))))
    compute_changed(bench.world.group.pk)

    def missing() -> int:
        with stating(bench.world.group.pk):
            figure = Density.objects.get(
                is_current=True, stratum="", organism__code="rust_mites"
            )
            return figure.bags_missing

    assert missing() == 2
    bench.move("lost", other)
    with stating(bench.world.group.pk):
        assert RoundChange.objects.exists()
    compute_changed(bench.world.group.pk)
    assert missing() == 1


def test_a_round_that_is_only_planned_makes_no_figure(bench: Bench) -> None:
    planned = bench.make()
    with stating(bench.world.group.pk):
        assert not RoundChange.objects.exists()
        assert not list(samples_of_rounds(bench.world.group.pk, [planned[0].round_id]))


def test_a_batch_of_washes_is_a_step_and_its_withdrawal_too(bench: Bench) -> None:
    _, bag, _ = bench.make()
    bench.take(bag, "collected", "received")
    washed = Washed(
        washed_on=DAY,
        alcohol_percent=35,
        volume_ml=50,
        shake_s=30,
        analyst_name="A. Washer",
    )
    with transaction.atomic():
        batch = enter_batch(bench.member, bag.round, [bag.pk], washed)
    assert bench.steps(bag)[-1] == ("received", "washed")
    with transaction.atomic():
        withdraw_batch(bench.member, batch, why="another round was meant")
    assert bench.steps(bag)[-1] == ("washed", "received")
    assert bench.way(bag) == "received"
