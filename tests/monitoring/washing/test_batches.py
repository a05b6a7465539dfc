"""Batches of washes: counts join them, departures are kept, nothing is lost."""

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import (
    Bag,
    BagStep,
    Density,
    Round,
    Sheet,
    Tally,
    Wash,
    WashBatch,
    WashProtocol,
)
from monitoring.services.washing import state_protocol
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db
NOT_COUNTED = {"rust_mites": "", "predatory_mites": "", "thrips": "", "symptoms": "1"}
UNKNOWN = {"washed_on": "", "alcohol_percent": "", "volume_ml": "", "shake_s": ""}


class Bench:
    """A person at the wash bench, before a round of three bags."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.desk = Desk(world)
        with stating(world.group.pk):
            self.round = Round.objects.create(
                farm_group=world.group,
                block=world.block,
                collected_on=date(2026, 8, 14),
            )
            self.bags = {
                code: Bag.objects.create(
                    farm_group=world.group,
                    round=self.round,
                    code=code,
                    tissue="leaf",
                    position="mid",
                    way=Bag.Way.RECEIVED,
                ).pk
                for code in ("1", "2", "3")
            }

    def values(self, *codes: str, **changed: Any) -> dict[str, Any]:
        """Give what the page sends; all is as the protocol asks."""
        usual = {
            "bags": [str(self.bags[code]) for code in codes],
            "number": "1",
            "washed_on": "2026-08-15",
            "washed_time": "",
            "analyst_name": "A. Washer",
            "alcohol_percent": "35",
            "volume_ml": "50",
            "shake_s": "30",
            "piece_cm": "2.5",
            "rinses": "",
            "note": "",
        }
        return usual | changed

    def enter(self, *codes: str, role: str = "lab", **changed: Any) -> Any:
        return self.world.client(role).post(
            self.world.url(f"rounds/{self.round.uuid}/wash/"),
            self.values(*codes, **changed),
        )

    def act(self, batch: WashBatch, what: str, **values: Any) -> Any:
        return self.world.client("lab").post(
            self.world.url(f"washes/{batch.uuid}/{what}/"), values
        )

    def count(self, *rows: str) -> None:
        sheet = self.desk.publish(self.desk.upload(bag_sheet(*rows)))
        assert sheet.state == Sheet.State.PUBLISHED, self.desk.findings(sheet)

    def batch(self) -> WashBatch:
        with stating(self.world.group.pk):
            return WashBatch.objects.get(state="stands")

    def washes(self) -> dict[tuple[str, int], Wash]:
        with stating(self.world.group.pk):
            rows = Wash.objects.select_related("bag", "batch")
            return {(row.bag.code, row.number): row for row in rows}

    def ways(self) -> dict[str, str]:
        with stating(self.world.group.pk):
            return dict(Bag.objects.values_list("code", "way"))

    def page(self, rest: str, role: str = "lab") -> str:
        answer = self.world.client(role).get(self.world.url(rest))
        assert answer.status_code == 200
        return answer.content.decode()


@pytest.fixture
def bench(world: World) -> Bench:
    return Bench(world)


def test_a_batch_makes_the_washes_of_its_bags(bench: Bench) -> None:
    assert bench.enter("1", "2", washed_time="14:30").status_code == 302
    washes = bench.washes()
    assert set(washes) == {("1", 1), ("2", 1)}
    wash, batch = washes["1", 1], bench.batch()
    assert wash.batch_id == batch.pk
    assert (wash.alcohol_percent, wash.volume_ml, wash.shake_s) == (35, 50, 30)
    assert (wash.washed_on, wash.analyst_name) == (date(2026, 8, 15), "A. Washer")
    assert batch.washed_at is not None
    assert batch.departures == []
    assert bench.ways() == {"1": "washed", "2": "washed", "3": "received"}


def test_counts_of_a_later_sheet_join_the_batchs_washes(bench: Bench) -> None:
    bench.enter("1", "2")
    before = bench.washes()
    bench.count(bag_row(bag=1, rust_mites=7, **UNKNOWN), bag_row(bag=2, volume_ml=60))
    after = bench.washes()
    assert {key: row.pk for key, row in after.items()} == {
        key: row.pk for key, row in before.items()
    }
    # What the batch said stays, whether the sheet is silent or says otherwise.
    assert {row.volume_ml for row in after.values()} == {50}
    with stating(bench.world.group.pk):
        washes = set(Tally.objects.values_list("wash_id", flat=True))
    assert washes == {row.pk for row in before.values()}
    assert bench.ways()["1"] == "counted"


def test_a_batch_changes_no_density(bench: Bench, make_world: Any) -> None:
    rows = [bag_row(bag=i, rust_mites=20 + i, **UNKNOWN) for i in range(1, 4)]
    other = Bench(make_world())
    rows_of_other = [row.replace("Block 0", other.world.block.name) for row in rows]
    bench.enter("1", "2", "3")
    for one, of_it in ((bench, rows), (other, rows_of_other)):
        one.count(*of_it)
        compute_changed(one.world.group.pk)
    medians = []
    for one in (bench, other):
        with stating(one.world.group.pk):
            found = Density.objects.get(organism__code="rust_mites", is_current=True)
            medians.append((found.median, found.low, found.high, found.bags_used))
    assert medians[0] == medians[1]


def test_a_batch_after_the_counts_fills_in_what_the_sheet_left_open(
    bench: Bench,
) -> None:
    bench.count(
        bag_row(bag=1, **UNKNOWN), bag_row(bag=2, **UNKNOWN | {"volume_ml": 50})
    )
    bench.enter("1", "2", shake_s="20")
    washes = bench.washes()
    assert set(washes) == {("1", 1), ("2", 1)}
    assert [row.shake_s for row in washes.values()] == [20, 20]
    assert bench.ways()["1"] == "counted"
    # Withdrawn again, the sheet's own word is left, and nothing else.
    assert bench.act(bench.batch(), "withdraw", reason="x").status_code == 302
    washes = bench.washes()
    assert [row.shake_s for row in washes.values()] == [None, None]
    assert (washes["1", 1].volume_ml, washes["2", 1].volume_ml) == (None, 50)
    assert all(row.batch_id is None for row in washes.values())


def test_what_a_sheet_stated_is_not_overwritten(bench: Bench) -> None:
    bench.count(bag_row(bag=1, volume_ml=45))
    answer = bench.enter("1")
    assert answer.status_code == 422
    assert "A count sheet says of bag 1: 45 ml" in answer.content.decode()
    assert bench.washes()["1", 1].batch_id is None


def test_departures_are_kept_and_shown_where_the_figure_is(bench: Bench) -> None:
    bench.enter("1", "2", alcohol_percent="30", volume_ml="60", piece_cm="5")
    bench.enter("3", shake_s="45")
    bench.count(*(bag_row(bag=i, **UNKNOWN) for i in range(1, 4)))
    compute_changed(bench.world.group.pk)
    with stating(bench.world.group.pk):
        density = Density.objects.get(organism__code="rust_mites", is_current=True)
        first = WashBatch.objects.order_by("pk")[0]
    assert [row["name"] for row in first.departures] == [
        "alcohol_percent",
        "volume_ml",
        "piece_cm",
    ]
    told = (
        "30 % alcohol, not 35: 2 bags, 1, 2",
        "60 ml in the bag, not 45 to 50: 2 bags, 1, 2",
        "5 cm pieces, not 2 to 3: 2 bags, 1, 2",
        "45 s shaking, not 30: 1 bag, 3",
    )
    for page in (f"rounds/{bench.round.uuid}/", f"densities/{density.uuid}/"):
        text = bench.page(page, role="grower")
        assert [words for words in told if words not in text] == []


def test_washes_that_only_a_sheet_tells_of_are_held_against_the_protocol_too(
    bench: Bench,
) -> None:
    bench.count(bag_row(bag=1), bag_row(bag=2, shake_s=10), bag_row(bag=3, **UNKNOWN))
    text = bench.page(f"rounds/{bench.round.uuid}/")
    assert "10 s shaking, not 30: 1 bag, 2" in text
    assert "How 1 bag was washed is not noted: 3." in text


def test_a_batch_is_held_against_the_protocol_of_its_day(bench: Bench) -> None:
    coordinator = member_for(bench.world.people["coordinator"], bench.world.slug)
    with stating(bench.world.group.pk):
        stated = state_protocol(
            coordinator,
            valid_from=date(2026, 8, 15),
            volume_low_ml=60,
            volume_high_ml=60,
            rinses=1,
            note="larger bags",
        )
    bench.enter("1", washed_on="2026-08-14", volume_ml="60", rinses="2")
    bench.enter("2", washed_on="2026-08-15", volume_ml="60", rinses="2")
    with stating(bench.world.group.pk):
        early, late = WashBatch.objects.order_by("washed_on")
    assert (early.protocol_id, late.protocol_id) == (None, stated.pk)
    assert [row["name"] for row in early.departures] == ["volume_ml"]
    assert [row["name"] for row in late.departures] == ["rinses"]
    # Another protocol, even an earlier one, does not change what was told.
    with stating(bench.world.group.pk):
        state_protocol(coordinator, valid_from=date(2026, 8, 1), rinses=2)
    assert "60 ml in the bag, not 45 to 50" in bench.page(f"rounds/{bench.round.uuid}/")


def test_a_protocol_is_never_changed(bench: Bench) -> None:
    member = member_for(bench.world.people["coordinator"], bench.world.slug)
    with stating(bench.world.group.pk):
        row = state_protocol(member, valid_from=date(2026, 8, 15), note="x")
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            WashProtocol.objects.filter(pk=row.pk).update(shake_low_s=1)


def test_a_repeat_wash_follows_a_first_one(bench: Bench) -> None:
    answer = bench.enter("1", number="2")
    assert answer.status_code == 422
    assert "Bag 1 is without a wash 1" in answer.content.decode()
    bench.enter("1")
    early = bench.enter("1", number="2", washed_on="2026-08-14")
    assert early.status_code == 422
    assert "Wash 1 of bag 1 was on 2026-08-15" in early.content.decode()
    assert bench.enter("1", number="2").status_code == 302
    text = bench.page(f"rounds/{bench.round.uuid}/wash/")
    assert "1: leaf, mid, washed, washes 1, 2 are there" in text
    assert set(bench.washes()) == {("1", 1), ("1", 2)}


def test_a_bag_is_not_washed_twice_as_its_first_wash(bench: Bench) -> None:
    bench.enter("1", "2")
    answer = bench.enter("1", "2", "3")
    assert answer.status_code == 422
    assert "Bags 1, 2 are already in a batch" in answer.content.decode()
    assert set(bench.washes()) == {("1", 1), ("2", 1)}


def test_a_correction_supersedes_and_counts_stay(bench: Bench) -> None:
    bench.enter("1", "2", volume_ml="60")
    bench.count(bag_row(bag=1, rust_mites=7, **UNKNOWN))
    old = bench.batch()
    values = bench.values() | {"volume_ml": "45", "reason": "read the wrong line"}
    assert bench.act(old, "correct", **values).status_code == 302
    new = bench.batch()
    assert new.supersedes_id == old.pk
    assert {row.volume_ml for row in bench.washes().values()} == {45}
    assert {row.batch_id for row in bench.washes().values()} == {new.pk}
    with stating(bench.world.group.pk):
        old.refresh_from_db()
        assert (old.state, old.volume_ml) == ("superseded", 60)
        assert Tally.objects.filter(wash__batch=new).exists()
    assert "read the wrong line" in bench.page(f"washes/{old.uuid}/")
    # The second of two who correct the same batch is told.
    again = bench.act(old, "correct", **values)
    assert again.status_code == 409
    assert "Somebody else has corrected" in again.content.decode()
    assert bench.page(f"washes/{old.uuid}/correct/").count("<form method") == 0


def test_a_batch_that_never_was_leaves_its_bags_as_they_were(bench: Bench) -> None:
    bench.enter("1", "2")
    batch = bench.batch()
    assert bench.act(batch, "withdraw", reason="of another day").status_code == 302
    assert bench.washes() == {}
    assert bench.ways()["1"] == "received"
    assert "of another day" in bench.page(f"washes/{batch.uuid}/")
    with stating(bench.world.group.pk):
        steps = BagStep.objects.filter(bag=bench.bags["1"]).order_by("pk")
        assert [(one.before, one.way) for one in steps] == [
            ("received", "washed"),
            ("washed", "received"),
        ]
        assert {one.noted_by_id for one in steps} == {bench.world.people["lab"].pk}
    assert bench.enter("1", "2").status_code == 302


def test_a_batch_on_which_counts_rest_is_corrected_not_withdrawn(bench: Bench) -> None:
    bench.enter("1", "2")
    bench.count(bag_row(bag=2, **UNKNOWN))
    answer = bench.act(bench.batch(), "withdraw", reason="x")
    assert answer.status_code == 422
    assert "rest on the washes of bags 2." in answer.content.decode()
    assert bench.batch().stands
    assert len(bench.washes()) == 2


def test_a_lost_bag_is_not_washed(bench: Bench) -> None:
    with stating(bench.world.group.pk):
        Bag.objects.filter(code="3").update(way=Bag.Way.LOST)
    answer = bench.enter("3")
    assert answer.status_code == 422
    assert "no bag of this round that can be washed" in answer.content.decode()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"bags": []}, "Choose the bags that were washed."),
        ({"bags": ["x"]}, "That is no bag of this round"),
        ({"bags": ["999999999999999999999"]}, "That is no bag of this round"),
        ({"washed_on": "15/8"}, "Write the date as 2026-08-14."),
        ({"washed_on": "2026-08-13"}, "bags are washed then or later"),
        ({"washed_on": "2100-01-01"}, "has not come yet"),
        ({"washed_time": "half past"}, "Write the time of day as 14:30"),
        ({"alcohol_percent": "101"}, "less than or equal to 100"),
        ({"alcohol_percent": "strong"}, "Write a number, such as 2.5"),
        ({"volume_ml": "0"}, "greater than or equal to 1"),
        ({"volume_ml": "nan"}, "Write a number, such as 2.5"),
        ({"volume_ml": "1e999"}, "Write a number, such as 2.5"),
        ({"shake_s": ""}, "This field is required"),
        ({"shake_s": "-1"}, "greater than or equal to 0"),
        ({"piece_cm": "0"}, "greater than or equal to 0.1"),
        ({"rinses": "1.5"}, "Write a whole number."),
        ({"number": "0"}, "greater than or equal to 1"),
        ({"number": "99999999999999999999"}, "less than or equal to 10"),
        ({"analyst_name": ""}, "This field is required"),
        ({"analyst_name": "a" * 121}, "at most 120 characters"),
        ({"note": "a\x00b"}, "Null characters are not allowed"),
    ],
)
def test_bad_input_is_told_in_words_and_loses_nothing(
    bench: Bench, changed: dict[str, Any], words: str
) -> None:
    answer = bench.enter("1", "2", **{"note": "damp leaves", **changed})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert words in text
    assert ("damp leaves" in text) == ("note" not in changed)
    assert bench.washes() == {}
