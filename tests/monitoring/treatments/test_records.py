"""Treatments are recorded once, corrected openly, and never changed."""

from datetime import date

import pytest
from django.core.exceptions import PermissionDenied
from django.db import Error, connection, transaction

from blocks.errors import ConflictError, SiteError
from blocks.tenancy import stating
from monitoring.models import TreatedBlock, Treatment
from monitoring.queries.treatments import in_force, latest_treatments, treated_blocks
from monitoring.services import treatments as services
from tests.builders import add_block
from tests.monitoring.treatments.conftest import NOW, TREATED_ON, Trial, all_records

pytestmark = pytest.mark.django_db


def correct(trial: Trial, treatment: Treatment, **other: object) -> Treatment:
    with transaction.atomic():
        return services.correct(
            trial.member("grower"),
            treatment,
            trial.done(**other),
            reason="the rate was mistyped",
            now=NOW,
        )


def test_a_correction_supersedes_and_the_first_record_stays(trial: Trial) -> None:
    first = trial.record(rate=40.0)
    second = correct(trial, first)
    assert [one.rate for one in all_records(trial.world)] == [40.0, 4.0]
    assert second.supersedes == first
    assert second.reason == "the rate was mistyped"
    assert second.recorded_by == trial.world.people["grower"]
    with stating(trial.world.group.pk):
        assert list(in_force(trial.world.group.pk)) == [second]
        [part] = treated_blocks(trial.world.group.pk, [trial.block.pk])
        assert part.treatment == second


def test_a_withdrawn_treatment_counts_no_more(trial: Trial) -> None:
    first = trial.record(checks=[trial.check])
    with transaction.atomic():
        gone = services.withdraw(
            trial.member(), first, reason="rain: it was put off", now=NOW
        )
    assert gone.withdrawn
    assert gone.parts.count() == 2
    with stating(trial.world.group.pk):
        assert not in_force(trial.world.group.pk).exists()
        blocks = [trial.block.pk, trial.check.pk]
        assert not treated_blocks(trial.world.group.pk, blocks).exists()
    with pytest.raises(ConflictError, match="withdrawn"), transaction.atomic():
        services.correct(trial.member(), gone, trial.done(), reason="no", now=NOW)


def test_one_record_has_one_correction(trial: Trial) -> None:
    first = trial.record()
    correct(trial, first, rate=5.0)
    with pytest.raises(ConflictError, match="Somebody corrected"):
        correct(trial, first, rate=6.0)
    with pytest.raises(ConflictError, match="Somebody corrected"), transaction.atomic():
        services.withdraw(trial.member(), first, reason="no", now=NOW)


@pytest.mark.parametrize("table", ["treatment", "treatedblock"])
@pytest.mark.parametrize("what", ["UPDATE {} SET {}", "DELETE FROM {}"])
def test_the_database_refuses_to_change_a_record(
    trial: Trial, table: str, what: str
) -> None:
    trial.record()
    change = {"treatment": "rate = 1", "treatedblock": "part = 'check'"}[table]
    statement = what.format(f"monitoring_{table}", change)
    with stating(trial.world.group.pk), connection.cursor() as cursor:
        with pytest.raises(Error, match="only added to"), transaction.atomic():
            cursor.execute(statement)
        assert Treatment.objects.count() == 1


def test_the_same_treatment_is_recorded_once(trial: Trial) -> None:
    first = trial.record()
    with pytest.raises(ConflictError, match="recorded already"):
        trial.record(active_ingredient="Wettable Sulfur ")
    with pytest.raises(ConflictError, match="Nothing is different"):
        correct(trial, first)
    trial.record(rate=5.0)
    assert len(all_records(trial.world)) == 2


@pytest.mark.parametrize(
    ("other", "field"),
    [
        ({"treated": []}, "treated"),
        ({"treated_on": date(2026, 8, 21)}, "treated_on"),
        ({"rate": None}, "rate"),
        ({"rate_unit": ""}, "rate"),
        ({"rate": 101.0, "rate_unit": "percent"}, "rate"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(
    trial: Trial, other: dict[str, object], field: str
) -> None:
    with pytest.raises(services.NotATreatmentError) as refused:
        trial.record(**other)
    assert refused.value.field == field
    assert all_records(trial.world) == []


def test_a_block_is_not_treated_and_a_check_at_once(trial: Trial) -> None:
    with pytest.raises(
        services.NotATreatmentError, match="treated and left"
    ) as refused:
        trial.record(treated=[trial.block, trial.check], checks=[trial.check])
    assert trial.check.name in str(refused.value)


def test_the_day_is_the_farms_own(trial: Trial) -> None:
    """At 23:00 UTC it is the next day already where the farms lie."""
    member = trial.member()
    member.farm_group.time_zone = "Pacific/Auckland"
    tomorrow = trial.done(treated_on=date(2026, 8, 21))
    with transaction.atomic():
        made = services.record(member, tomorrow, now=NOW.replace(hour=23))
    assert made.treated_on == date(2026, 8, 21)


def test_laboratory_staff_do_not_record(trial: Trial) -> None:
    with pytest.raises(PermissionDenied), transaction.atomic():
        services.record(trial.member("lab"), trial.done(), now=NOW)


def test_a_grower_records_on_granted_farms_only(trial: Trial) -> None:
    far = trial.world.blocks[1]
    for other in ({"treated": [far]}, {"checks": [far]}):
        with pytest.raises(PermissionDenied), transaction.atomic():
            services.record(trial.member("grower"), trial.done(**other), now=NOW)


def test_a_grower_does_not_correct_what_reached_hidden_farms(trial: Trial) -> None:
    both = trial.record(treated=list(trial.world.blocks))
    with pytest.raises(SiteError, match="Ask the coordinator"):
        correct(trial, both)


def test_the_latest_treatment_before_a_date(trial: Trial) -> None:
    third = add_block(trial.world.farms[0], "Third block", west=10.008)
    old = trial.record(treated_on=date(2026, 7, 1), treated=[trial.block, third])
    new = trial.record(checks=[trial.check])
    blocks = [trial.block.pk, trial.check.pk, third.pk]
    with stating(trial.world.group.pk):

        def latest(before: date) -> dict[int, Treatment]:
            rows = latest_treatments(trial.world.group.pk, blocks, before=before)
            assert all(row.part == TreatedBlock.Part.TREATED for row in rows.values())
            return {key: row.treatment for key, row in rows.items()}

        assert latest(NOW.date()) == {trial.block.pk: new, third.pk: old}
        # A treatment of the day itself is not before it.
        assert latest(TREATED_ON) == {trial.block.pk: old, third.pk: old}
        assert latest(date(2026, 7, 1)) == {}
