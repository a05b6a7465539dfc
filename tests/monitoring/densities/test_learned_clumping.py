"""What earlier rounds tell of clumping is learned, held from a day, and set aside."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import DatabaseError, transaction

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import ClumpingPrior, Density, Organism, RoundChange, Tissue
from monitoring.services.clumping import hold_nothing, learn_from_rounds
from monitoring.services.settings import NotAllowedValueError
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db

FIRST, SEASON = date(2025, 6, 2), date(2026, 1, 1)
K = 1.0


def _counts(rounds: int, bags: int, mean: float, k: float = K) -> list[list[int]]:
    chance = np.random.default_rng(11)
    drawn = chance.poisson(chance.gamma(k, mean / k, (rounds, bags)))
    return [[int(one) for one in of_round] for of_round in drawn]


def _publish(desk: Desk, day: date, counts: list[int]) -> None:
    rows = (
        bag_row(bag=number, collected_on=day.isoformat(), rust_mites=count)
        for number, count in enumerate(counts)
    )
    sheet = desk.upload(bag_sheet(*rows))
    assert desk.codes(sheet) == []
    desk.publish(sheet)


def _past(desk: Desk, rounds: int = 11) -> None:
    for number, counts in enumerate(_counts(rounds, 12, 40)):
        _publish(desk, FIRST + timedelta(weeks=number), counts)


def _learn(
    world: World, *, nothing: bool = False, since: date = SEASON
) -> ClumpingPrior:
    change = hold_nothing if nothing else learn_from_rounds
    with stating(world.group.pk):
        member = member_for(world.people["coordinator"], world.group.slug)
        mites = Organism.objects.get(farm_group=world.group, code="rust_mites")
        return change(member, organism=mites, tissue=Tissue.LEAF, valid_from=SEASON)


def _density(world: World, day: date) -> Density:
    compute_changed(world.group.pk)
    with stating(world.group.pk):
        return Density.objects.get(
            is_current=True,
            stratum="",
            organism__code="rust_mites",
            round__collected_on=day,
        )


def test_what_was_learned_is_used_from_its_day_on_and_narrows_intervals(
    desk: Desk, world: World
) -> None:
    _past(desk)
    before, after = date(2025, 12, 1), date(2026, 6, 1)
    for day in (before, after):
        _publish(desk, day, [12, 80, 3])
    plain = _density(world, after)
    row = _learn(world)
    assert (row.rounds, row.bags) == (11, 132)
    assert row.k_median == pytest.approx(K, rel=0.35)
    assert row.basis[0]["collected_on"] == FIRST.isoformat()
    learned, untouched = _density(world, after), _density(world, before)
    assert learned.used["history"]["prior_id"] == row.pk
    assert learned.used["found"]["history_used"] is True
    assert learned.inputs_digest != plain.inputs_digest
    assert learned.high is not None
    assert plain.high is not None
    assert learned.high / (learned.low or 1) < 0.7 * plain.high / (plain.low or 1)
    assert untouched.used["history"] is None


def test_a_round_unlike_the_earlier_ones_is_estimated_without_them(
    desk: Desk, world: World
) -> None:
    _past(desk)
    day = date(2026, 6, 1)
    _publish(desk, day, [0, 0, 0, 0, 0, 0, 0, 0, 900, 0, 0, 0])
    plain = _density(world, day)
    _learn(world)
    found = _density(world, day)
    assert found.used["history"] is not None
    assert found.used["found"]["history_used"] is False
    assert (found.median, found.high) == (plain.median, plain.high)


def test_holding_nothing_ends_what_was_held(desk: Desk, world: World) -> None:
    _past(desk)
    day = date(2026, 6, 1)
    _publish(desk, day, [12, 80, 3, 44, 25])
    plain = _density(world, day)
    _learn(world)
    assert _density(world, day).median != plain.median
    _learn(world, nothing=True)
    again = _density(world, day)
    assert (again.median, again.inputs_digest) == (plain.median, plain.inputs_digest)


def test_too_few_rounds_are_refused_in_words(desk: Desk, world: World) -> None:
    _past(desk, rounds=9)
    with pytest.raises(NotAllowedValueError, match=r"too little to learn from.*10"):
        _learn(world)
    with stating(world.group.pk):
        assert not ClumpingPrior.objects.exists()


def test_what_was_held_cannot_be_changed_or_deleted(desk: Desk, world: World) -> None:
    row = _learn(world, nothing=True)
    for wrong in (
        lambda: ClumpingPrior.objects.filter(pk=row.pk).update(rounds=1),
        lambda: ClumpingPrior.objects.filter(pk=row.pk).delete(),
    ):
        with (
            stating(world.group.pk),
            pytest.raises(DatabaseError),
            transaction.atomic(),
        ):
            wrong()


def test_rounds_from_the_day_on_are_due(desk: Desk, world: World) -> None:
    _past(desk)
    _publish(desk, date(2026, 6, 1), [3, 4, 5])
    compute_changed(world.group.pk)
    _learn(world)
    with stating(world.group.pk):
        due = RoundChange.objects.values_list("round__collected_on", flat=True)
        assert list(due) == [date(2026, 6, 1)]


@pytest.mark.parametrize("role", ["lab", "coordinator"])
def test_pages_show_what_is_held(desk: Desk, world: World, role: str) -> None:
    _past(desk)
    _learn(world)
    page = world.client(role).get(f"/g/{world.group.slug}/laboratory/clumping/")
    text = page.content.decode()
    assert "11 rounds, 132 bags" in text
    assert ("Learn from earlier rounds" in text) == (role == "coordinator")


def test_the_form_answers_in_words(desk: Desk, world: World) -> None:
    with stating(world.group.pk):
        mites = Organism.objects.get(farm_group=world.group, code="rust_mites")
    address = f"/g/{world.group.slug}/laboratory/clumping/learn/"
    asked = {"organism": mites.pk, "tissue": "leaf", "valid_from": "2026-01-01"}
    client = world.client("coordinator")
    refused = client.post(address, asked | {"what": "learn"})
    assert refused.status_code == 200
    assert "too little to learn from" in refused.content.decode()
    odd = client.post(address, asked | {"what": "guess", "valid_from": "soon"})
    assert odd.status_code == 200
    done = client.post(address, asked | {"what": "nothing"})
    assert done.status_code == 302
    assert "nothing held" in client.get(done.headers["Location"]).content.decode()
