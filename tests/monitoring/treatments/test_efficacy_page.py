"""The page of an efficacy: which rounds it uses, and what it says in plain words."""

from datetime import date

import pytest
from pytest_django import DjangoAssertNumQueries

from blocks.tenancy import stating
from monitoring.densities.efficacy import Effect, Window, effects_on
from monitoring.estimation import (
    abbott,
    estimate_efficacy,
    henderson_tilton,
)
from monitoring.models import Density
from monitoring.pages.efficacy_page import fewer, percent
from tests.builders import add_block
from tests.monitoring.treatments.conftest import (
    AFTER,
    BEFORE,
    CHECK_AFTER,
    CHECK_BEFORE,
    TREATED_AFTER,
    TREATED_BEFORE,
    TREATED_ON,
    Trial,
    count,
    rows_of,
)

pytestmark = pytest.mark.django_db
USUAL = Window(before_days=14, after_days=28, apart_days=5)
ROUNDS = (TREATED_BEFORE, TREATED_AFTER, CHECK_BEFORE, CHECK_AFTER)


def mean(counts: list[int]) -> float:
    return sum(counts) / len(counts)


def effects(
    trial: Trial, window: Window = USUAL, *, check: bool = True
) -> list[Effect]:
    checks = [trial.check] if check else []
    with stating(trial.world.group.pk):
        return effects_on(trial.block, checks, TREATED_ON, window)


def test_the_figures_are_the_cores_own(trial: Trial) -> None:
    trial.count_all()
    [mites, _] = effects(trial)
    [comparison] = mites.comparisons
    [check_before], [check_after] = comparison.checks_before, comparison.checks_after
    assert mites.before is not None
    used = (mites.before, comparison.after, check_before, check_after)
    for one, counts in zip(used, ROUNDS, strict=True):
        assert one.estimate.median == pytest.approx(one.density.median, rel=1e-9)
        assert one.estimate.animals == sum(counts)
    line = comparison.henderson_tilton
    expected = estimate_efficacy(
        treated_before=mites.before.estimate,
        treated_after=comparison.after.estimate,
        control_before=check_before.estimate,
        control_after=check_after.estimate,
    )
    assert line.estimate is not None
    assert line.estimate.percent == pytest.approx(expected.percent)
    assert line.estimate.low == pytest.approx(expected.low)
    assert line.estimate.high == pytest.approx(expected.high)
    assert line.plain == pytest.approx(
        henderson_tilton(
            treated_before=mean(TREATED_BEFORE),
            treated_after=mean(TREATED_AFTER),
            control_before=mean(CHECK_BEFORE),
            control_after=mean(CHECK_AFTER),
        )
    )
    assert comparison.abbott.plain == pytest.approx(
        abbott(treated_after=mean(TREATED_AFTER), control_after=mean(CHECK_AFTER))
    )
    # The check grew, so that there is no mortality to correct for.
    assert comparison.schneider_orelli.estimate is None
    assert "did not fall" in comparison.schneider_orelli.reason


def test_where_the_check_fell_schneider_orelli_is_henderson_and_tilton(
    trial: Trial,
) -> None:
    count(
        trial.world,
        *rows_of(trial.block, BEFORE, TREATED_BEFORE),
        *rows_of(trial.block, AFTER, TREATED_AFTER),
        *rows_of(trial.check, BEFORE, CHECK_AFTER),
        *rows_of(trial.check, AFTER, CHECK_BEFORE),
    )
    [mites, _] = effects(trial)
    one = mites.comparisons[0]
    assert one.schneider_orelli.plain == pytest.approx(one.henderson_tilton.plain)
    assert one.schneider_orelli.estimate == one.henderson_tilton.estimate


def test_two_checks_count_alike(trial: Trial) -> None:
    trial.count_all()
    second = add_block(trial.world.farms[0], "Second check", west=10.008)
    count(
        trial.world,
        *rows_of(second, BEFORE, TREATED_BEFORE),
        *rows_of(second, AFTER, CHECK_AFTER),
    )
    with stating(trial.world.group.pk):
        [mites, _] = effects_on(trial.block, [trial.check, second], TREATED_ON, USUAL)
    [one] = mites.comparisons
    assert len(one.checks_before) == len(one.checks_after) == 2
    assert one.henderson_tilton.plain == pytest.approx(
        henderson_tilton(
            treated_before=mean(TREATED_BEFORE),
            treated_after=mean(TREATED_AFTER),
            control_before=(mean(CHECK_BEFORE) + mean(TREATED_BEFORE)) / 2,
            control_after=mean(CHECK_AFTER),
        )
    )


def test_the_last_round_before_and_the_first_ones_after_are_used(trial: Trial) -> None:
    trial.count_all()
    days = ("2026-07-25", "2026-08-04", "2026-08-11", "2026-08-30", "2026-09-20")
    for day in days:
        count(trial.world, *rows_of(trial.block, day, TREATED_BEFORE))
    [mites, _] = effects(trial)
    assert mites.before is not None
    # A round of the day itself was taken before spraying.
    assert mites.before.day == TREATED_ON
    assert [one.after.day.isoformat() for one in mites.comparisons] == [
        "2026-08-11",
        "2026-08-14",
        "2026-08-30",
    ]


def test_the_checks_rounds_must_be_near_and_on_the_same_side(trial: Trial) -> None:
    count(
        trial.world,
        *rows_of(trial.block, BEFORE, TREATED_BEFORE),
        *rows_of(trial.block, "2026-08-06", TREATED_AFTER),
        *rows_of(trial.check, "2026-08-03", CHECK_BEFORE),
        *rows_of(trial.check, "2026-08-12", CHECK_AFTER),
    )
    [mites, _] = effects(trial)
    [one] = mites.comparisons
    # The check's round of 3 August is near, but before the treatment.
    assert one.checks_after == []
    assert "no such round near enough" in one.henderson_tilton.reason
    wider = Window(before_days=14, after_days=28, apart_days=6)
    [one] = effects(trial, wider)[0].comparisons
    assert [used.day for used in one.checks_after] == [date(2026, 8, 12)]
    assert one.henderson_tilton.estimate is not None


def test_with_a_check_the_page_says_the_efficacy_and_its_rounds(trial: Trial) -> None:
    trial.count_all()
    treatment = trial.record(checks=[trial.check])
    text = trial.efficacy(treatment)
    assert "than the check would have led to expect, 10 days after." in text
    assert "that two blocks can go apart by themselves is not in it" in text
    assert "The label is the law." in text
    assert "not the treatment's effect alone" not in text
    with stating(trial.world.group.pk):
        used = Density.objects.filter(
            is_current=True, stratum="", organism__code="rust_mites"
        )
        assert len(used) == 4
        for density in used:
            assert f"densities/{density.uuid}/" in text


def test_without_a_check_it_is_the_change_only(trial: Trial) -> None:
    trial.count_all()
    text = trial.efficacy(trial.record())
    assert "than before, 10 days after. This is the change, not" in text
    assert "No block was left untreated as a check," in text
    assert "Henderson &amp; Tilton; Sun" not in text


def test_predators_are_told_of_too(trial: Trial) -> None:
    """They fell from 40 to 2 a leaf on the treated block, and not on the check."""
    count(
        trial.world,
        *rows_of(trial.block, BEFORE, TREATED_BEFORE, predatory_mites=40),
        *rows_of(trial.block, AFTER, TREATED_AFTER, predatory_mites=2),
        *rows_of(trial.check, BEFORE, CHECK_BEFORE, predatory_mites=40),
        *rows_of(trial.check, AFTER, CHECK_AFTER, predatory_mites=40),
    )
    text = trial.efficacy(trial.record(checks=[trial.check]))
    assert "Predatory mites: 9" in text
    assert "Fewer predators are left to hold the mites" in text


def test_predators_not_counted_are_asked_for(trial: Trial) -> None:
    count(
        trial.world,
        *rows_of(trial.block, BEFORE, TREATED_BEFORE, predatory_mites=""),
        *rows_of(trial.block, AFTER, TREATED_AFTER, predatory_mites=""),
    )
    text = trial.efficacy(trial.record())
    assert "Predatory mites were not counted after the treatment" in text


def test_nothing_found_after_has_a_lower_limit_only(trial: Trial) -> None:
    trial.count_all()
    count(trial.world, *rows_of(trial.block, "2026-08-08", [0] * 12))
    text = trial.efficacy(trial.record(checks=[trial.check]))
    assert "Rust mites: none found 4 days after; at least 9" in text
    assert "lower limit only" in text


def test_nothing_found_before_gives_no_figure(trial: Trial) -> None:
    count(
        trial.world,
        *rows_of(trial.block, BEFORE, [0] * 8),
        *rows_of(trial.block, AFTER, TREATED_AFTER),
    )
    text = trial.efficacy(trial.record())
    assert (
        "Rust mites: no efficacy can be given, since nothing was found before" in text
    )


def test_nothing_counted_after_is_said(trial: Trial) -> None:
    count(trial.world, *rows_of(trial.block, BEFORE, TREATED_BEFORE))
    text = trial.efficacy(trial.record())
    assert "was counted in the 28 days after 4 August 2026" in text


def test_another_treatment_in_between_is_warned_of(trial: Trial) -> None:
    trial.count_all()
    treatment = trial.record(checks=[trial.check])
    trial.record(treated_on=date(2026, 8, 9), rate=2.0)
    trial.record(treated_on=date(2026, 8, 10), treated=[trial.check], rate=3.0)
    trial.record(treated_on=date(2026, 8, 19), rate=3.0)
    text = trial.efficacy(treatment)
    assert "was also treated with sulfur on 9 August 2026" in text
    assert "Check block was treated with sulfur on 10 August 2026" in text
    assert "19 August" not in text


def test_the_window_can_be_changed_and_is_shown(trial: Trial) -> None:
    trial.count_all()
    treatment = trial.record(checks=[trial.check])
    text = trial.efficacy(treatment, before="2", after="28", apart="5", above="80")
    assert "no round in the 2 days up to the treatment" in text
    assert "Chance that it is above 80" in text
    assert "no round before it is near enough" in text
    assert "taking both as alike before" in text


@pytest.mark.parametrize(
    "query", ["before=-1", "after=x", "apart=1e9", "above=100", "above=nan", "after="]
)
def test_an_odd_window_is_told_and_the_usual_taken(trial: Trial, query: str) -> None:
    trial.count_all()
    treatment = trial.record(checks=[trial.check])
    path = f"treatments/{treatment.uuid}/blocks/{trial.block.uuid}/?{query}"
    answer = trial.world.client("grower").get(trial.world.url(path))
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "The usual value is taken." in text
    assert "than the check would have led to expect" in text


def test_a_block_that_was_not_treated_has_no_such_page(trial: Trial) -> None:
    treatment = trial.record(checks=[trial.check])
    client = trial.world.client("coordinator")
    for block in (trial.check, trial.world.blocks[1]):
        path = f"treatments/{treatment.uuid}/blocks/{block.uuid}/"
        assert client.get(trial.world.url(path)).status_code == 404


def test_the_page_costs_few_queries(
    trial: Trial, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Of these, 8 find the person and the group, and open and close the door."""
    trial.count_all()
    treatment = trial.record(checks=[trial.check])
    path = trial.world.url(f"treatments/{treatment.uuid}/blocks/{trial.block.uuid}/")
    client = trial.world.client("grower")
    with django_assert_max_num_queries(8 + 10):
        client.get(path)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (87.6, "88"),
        (99.43, "99.4"),
        (99.97, "over 99.9"),
        (100.0, "100"),
        (-0.2, "0"),
        (-53.4, "\N{MINUS SIGN}53"),
        (-4000.0, "under \N{MINUS SIGN}1,000"),
        (float("-inf"), "no limit"),
    ],
)
def test_percentages_are_never_too_precise(value: float, words: str) -> None:
    assert percent(value) == words


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (80.0, "80 in 100 fewer"),
        (-50.0, "50 in 100 more"),
        (-160.0, "2.6 times as many"),
        (-2000.0, "many times as many"),
    ],
)
def test_an_efficacy_is_said_in_words(value: float, words: str) -> None:
    assert fewer(value) == words
