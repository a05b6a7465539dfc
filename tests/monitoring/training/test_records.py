"""What a record says: met, not met or not settled, and how many more dishes."""

from datetime import date

import numpy as np
import pytest

from blocks.models import FarmGroup, User
from monitoring.models import AgreementStandard, Organism, Tally
from monitoring.pages.training_record import (
    Compared,
    Standing,
    of_recounts,
    standings_of,
)
from monitoring.pages.training_words import more_words, sentence_of

MITES = Organism(pk=1, code="rust_mites", name="rust mites", role="pest", position=0)
STANDARD = AgreementStandard(
    farm_group=FarmGroup(pk=1),
    least_concordance=0.9,
    widest_ratio=1.5,
    valid_from=date(2026, 1, 1),
)


def _standing(
    pairs: list[tuple[float, float]],
    *,
    standard: AgreementStandard | None = STANDARD,
    whole: bool = True,
) -> Standing:
    rows = [Compared(MITES, 20, counted, there, whole) for counted, there in pairs]
    (found,) = standings_of(rows, standard)
    return found


def _many(
    number: int, *, bias: float = 1.0, spread: float = 0.0, seed: int = 3
) -> list[tuple[float, float]]:
    rng = np.random.default_rng(seed)
    there = rng.integers(40, 400, number)
    counted = np.round(there * bias * np.exp(rng.normal(0, spread, number)))
    return [(float(a), float(b)) for a, b in zip(counted, there, strict=True)]


def test_a_careful_counter_meets_the_standard_after_ten_dishes() -> None:
    standing = _standing(_many(10, spread=0.03))
    assert standing.verdict == "met"
    assert standing.more_dishes == 0
    assert more_words(standing) == "the standard is met"


def test_nine_dishes_tell_nothing_yet_however_well_counted() -> None:
    standing = _standing(_many(9))
    assert (standing.verdict, standing.more_dishes) == ("not settled", 1)
    assert more_words(standing) == "9 dishes of the 10 that it takes at least"


def test_ten_dishes_counted_without_a_fault_meet_it() -> None:
    assert _standing(_many(10)).verdict == "met"


def test_a_counter_who_misses_a_third_does_not_meet_it() -> None:
    standing = _standing(_many(14, bias=0.62, spread=0.05))
    assert standing.verdict == "not met"
    assert more_words(standing) == "the standard is not met after 14 dishes"


def test_a_spread_near_the_limit_is_not_settled_and_says_how_many_more() -> None:
    pairs = _many(10, spread=0.14, seed=5)
    standing = _standing(pairs)
    assert standing.verdict == "not settled"
    more = standing.more_dishes
    assert more is not None
    assert more > 0
    assert f"about {more} more like those so far" in more_words(standing)


def test_counts_that_are_off_need_care_and_not_more_dishes() -> None:
    standing = _standing(_many(12, bias=1.42, spread=0.02))
    assert standing.more_dishes is None
    if standing.verdict == "not settled":
        assert "must come nearer" in more_words(standing)


def test_few_animals_are_judged_by_poisson_limits_and_not_by_percent() -> None:
    one = Compared(MITES, 20, 3, 6)
    assert one.words == "within the Poisson limits of the count, 0.62 to 8.8"
    missed = Compared(MITES, 20, 1, 6)
    assert missed.words == "outside the Poisson limits of the count, 0.025 to 5.6"
    # One in forty finds so few of six by chance; the only one is soon overlooked.
    assert Compared(MITES, 20, 0, 1).is_within
    assert Compared(MITES, 20, 6, 6).words == "the same"
    assert Compared(MITES, 20, 30, 60).words == "50 % too few"
    # Of a dish looked at in cells the figure is no number of animals.
    assert Compared(MITES, 20, 3, 6, whole=False).words == "50 % too few"


def test_dishes_of_few_animals_alone_can_meet_the_standard() -> None:
    there = [0, 2, 5, 9, 14, 3, 7, 12, 1, 6, 8, 4]
    right = _standing([(float(n), float(n)) for n in there])
    assert right.limits is None
    assert right.verdict == "met"
    # Each a little short passes alone, but not all together: 71 are there.
    short = _standing([(float(n // 2), float(n)) for n in there])
    assert short.few is not None
    assert (short.few.outside, short.few.there) == (0, 71)
    assert short.verdict == "not met"


def test_ratios_must_be_told_where_most_dishes_are_full() -> None:
    few = [(5.0, 5.0)] * 2 + [(3.0, 3.0), (8.0, 8.0)]
    standing = _standing(_many(8, spread=0.02) + few)
    assert standing.verdict == "not settled"
    assert standing.more_dishes == 2
    assert "2 more with 20 animals or more" in more_words(standing)


def test_the_same_number_in_every_dish_cannot_be_told_apart() -> None:
    standing = _standing([(50.0, 50.0)] * 12)
    assert standing.concordance is None
    assert standing.verdict == "not settled"
    assert "dishes with other numbers are needed" in more_words(standing)


def test_one_dish_of_few_outside_its_limits_is_named_as_what_is_lacking() -> None:
    few = [(float(n), float(n)) for n in (3, 9, 14, 5, 8)] + [(2.0, 9.0)]
    standing = _standing(_many(20, spread=0.02) + few)
    assert standing.verdict == "not settled"
    assert more_words(standing) == (
        "not settled; 1 dish of few animals outside the limits"
    )


def test_without_a_standard_figures_are_told_and_no_verdict() -> None:
    standing = _standing(_many(12, spread=0.03), standard=None)
    assert standing.concordance is not None
    assert (standing.verdict, standing.judged) == ("", [])
    assert sentence_of([standing], None) == (
        "12 dishes counted so far. The lab has stated no standard yet."
    )


def test_what_is_alike_is_said_once() -> None:
    thrips = Organism(pk=2, code="thrips", name="thrips", role="other", position=2)
    rows = [
        Compared(one, 20, 30, 30 + number)
        for one in (MITES, thrips)
        for number in range(3)
    ]
    assert sentence_of(standings_of(rows, STANDARD), STANDARD) == (
        "Rust mites at 20 times and thrips at 20 times: 3 dishes of the 10 that it"
        " takes at least."
    )


def test_magnifications_are_never_mixed() -> None:
    rows = [Compared(MITES, times, 30, 30) for times in (20, 40, None, 20)]
    assert [(one.magnification, one.dishes) for one in standings_of(rows, None)] == [
        (None, 1),
        (20, 2),
        (40, 1),
    ]


def _reading(number: int, reader: User | None, count: int) -> Tally:
    return Tally(
        organism=MITES, reading=number, analyst=reader, count=count, scope="whole"
    )


def test_a_recount_is_held_against_the_first_other_reader_who_is_named() -> None:
    me, boss, friend = (User(pk=pk, name=f"Person {pk}") for pk in (1, 2, 3))
    dish = [_reading(1, me, 50), _reading(2, None, 10), _reading(3, friend, 60)]
    dish += [_reading(4, boss, 70), _reading(5, me, 52)]
    for senior, there in ((None, 60), (me, 60), (boss, 70)):
        (found,) = of_recounts([dish], person=me, senior=senior).compared
        assert (found.counted, found.there) == (50, there)


def test_a_dish_whose_own_reading_was_corrected_meanwhile_is_left_out() -> None:
    me, boss, friend = (User(pk=pk, name=f"Person {pk}") for pk in (1, 2, 3))
    dish = [_reading(2, boss, 50), _reading(3, friend, 60)]
    assert of_recounts([dish], person=me, senior=None).compared == []


@pytest.mark.parametrize("number", [10, 40])
def test_the_figures_are_those_of_the_counters_page(number: int) -> None:
    # The same core functions on the same scale: log10 with one animal more.
    pairs = _many(number, spread=0.08, bias=0.95)
    standing = _standing(pairs)
    logs = np.log10(np.array(pairs) + 1)
    differences = logs[:, 0] - logs[:, 1]
    assert standing.limits is not None
    assert np.log10(standing.limits.bias) == pytest.approx(differences.mean())
    spread = differences.std(ddof=1)
    assert np.log10(standing.limits.high) == pytest.approx(
        differences.mean() + 1.96 * spread
    )
    covariance = np.cov(logs.T, ddof=0)
    lin = (
        2
        * covariance[0, 1]
        / (
            covariance[0, 0]
            + covariance[1, 1]
            + (logs[:, 0].mean() - logs[:, 1].mean()) ** 2
        )
    )
    assert standing.concordance is not None
    assert standing.concordance.coefficient == pytest.approx(lin)
