"""Agreement, drift and carry-over: laws, simulated truth, refusals in words."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats

from monitoring.estimation import (
    EstimationError,
    carry_over_per_wash,
    carry_over_share,
    concordance,
    counter_drift,
    ewma_chart,
    intraclass_correlation,
    limits_of_agreement,
    positive_share,
)

READINGS = arrays(
    float, st.tuples(st.just(2), st.integers(3, 30)), elements=st.floats(-100, 100)
).filter(lambda pair: bool((np.ptp(pair, axis=1) > 1e-3).all()))


@settings(max_examples=80)
@given(READINGS, st.floats(0.01, 100), st.floats(-50, 50))
def test_concordance_is_symmetric_and_keeps_under_a_common_scale(
    pair: np.ndarray, scale: float, shift: float
) -> None:
    x, y = pair
    found = concordance(x, y)
    turned = concordance(y, x)
    moved = concordance(scale * x + shift, scale * y + shift)
    for other in (turned, moved):
        assert other.coefficient == pytest.approx(found.coefficient, abs=1e-6)
        assert (other.low, other.high) == pytest.approx(
            (found.low, found.high), abs=1e-4
        )
    assert -1 <= found.low <= found.coefficient <= found.high <= 1
    assert abs(found.coefficient) <= abs(found.pearson) + 1e-12


@settings(max_examples=60)
@given(READINGS)
def test_the_same_reading_twice_agrees_wholly(pair: np.ndarray) -> None:
    x = pair[0]
    found = concordance(x, x)
    assert (found.coefficient, found.low, found.high) == (1.0, 1.0, 1.0)
    limits = limits_of_agreement(x, x)
    assert (limits.bias, limits.low, limits.high) == (0.0, 0.0, 0.0)
    icc = intraclass_correlation(np.column_stack([x, x, x]))
    assert icc.icc_1_1 == icc.icc_2_1 == icc.icc_3_1 == 1.0
    assert (icc.low, icc.high) == (1.0, 1.0)


@settings(max_examples=80)
@given(READINGS, st.floats(0.01, 100))
def test_limits_turn_with_the_pair_and_stretch_with_the_scale(
    pair: np.ndarray, scale: float
) -> None:
    x, y = pair
    found, turned = limits_of_agreement(x, y), limits_of_agreement(y, x)
    assert (turned.low, turned.high) == pytest.approx((-found.high, -found.low))
    assert turned.low_range == pytest.approx(
        (-found.high_range[1], -found.high_range[0])
    )
    stretched = limits_of_agreement(scale * x, scale * y)
    assert stretched.high == pytest.approx(scale * found.high, abs=1e-6 * scale)
    assert found.low_range[0] <= found.low <= found.low_range[1]
    assert found.high_range[0] <= found.high <= found.high_range[1]


@settings(max_examples=60)
@given(
    arrays(
        float,
        st.tuples(st.integers(2, 15), st.integers(2, 5)),
        elements=st.floats(-100, 100),
    ).filter(lambda table: bool(np.ptp(table) > 1e-3)),
    st.randoms(use_true_random=False),
)
def test_intraclass_correlation_does_not_mind_the_order(table, shuffler) -> None:  # type: ignore[no-untyped-def]
    found = intraclass_correlation(table)
    rows, columns = list(range(table.shape[0])), list(range(table.shape[1]))
    shuffler.shuffle(rows)
    shuffler.shuffle(columns)
    other = intraclass_correlation(3 * table[rows][:, columns] + 7)
    for name in ("icc_1_1", "icc_2_1", "icc_3_1"):
        assert getattr(other, name) == pytest.approx(getattr(found, name), abs=1e-6)
    assert found.icc_2_1 <= 1
    assert found.low <= found.icc_2_1 + 1e-9
    assert found.icc_2_1 <= found.high + 1e-9


def test_simulated_readings_are_held_by_their_intervals() -> None:
    """Readings 0.95 alike, 40 pairs: intervals of 95 percent hold 92 to 98 times."""
    chance = np.random.default_rng(5)
    truth = 0.9
    held_coefficient = held_limit = held_icc = 0
    for _ in range(600):
        subject = chance.normal(0, np.sqrt(truth), 40)
        x, y = subject + chance.normal(0, np.sqrt(1 - truth), (2, 40))
        agreed = concordance(x, y)
        held_coefficient += agreed.low <= truth <= agreed.high
        limit = 1.96 * np.sqrt(2 * (1 - truth))
        ends = limits_of_agreement(x, y).high_range
        held_limit += ends[0] <= limit <= ends[1]
        icc = intraclass_correlation(np.column_stack([x, y]))
        held_icc += icc.low <= truth <= icc.high
    for held in (held_coefficient, held_limit, held_icc):
        assert 0.92 <= held / 600 <= 0.98


def test_the_error_of_concordance_is_that_of_leaving_each_pair_out() -> None:
    """Readings a whole standard deviation apart; the jackknife knows no formula."""
    chance = np.random.default_rng(8)
    subject = chance.normal(size=1500)
    x = subject + chance.normal(0, 0.4, 1500)
    y = subject + 1.0 + chance.normal(0, 0.4, 1500)
    found = concordance(x, y)
    left_out = [
        np.arctanh(concordance(np.delete(x, i), np.delete(y, i)).coefficient)
        for i in range(1500)
    ]
    error = np.sqrt(1499 / 1500 * ((left_out - np.mean(left_out)) ** 2).sum())
    reach = (np.arctanh(found.high) - np.arctanh(found.low)) / 2
    assert reach == pytest.approx(1.96 * error, rel=0.03)


def test_exact_limits_meet_the_large_sample_ones() -> None:
    chance = np.random.default_rng(6)
    x, y = chance.normal(size=(2, 4000))
    found = limits_of_agreement(x, y)
    reach = 1.96 * found.limit_standard_error
    assert found.high_range == pytest.approx(
        (found.high - reach, found.high + reach), rel=0.01
    )


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.floats(0, 500), st.floats(-1, 1)), min_size=3, max_size=30
    ).filter(lambda rows: max(row[0] for row in rows) - min(row[0] for row in rows) > 1)
)
def test_a_trend_turns_with_its_readings(rows: list[tuple[float, float]]) -> None:
    days, ratios = [row[0] for row in rows], [row[1] for row in rows]
    found = counter_drift(days, ratios)
    turned = counter_drift(days, [-one for one in ratios])
    later = counter_drift([one + 1000 for one in days], ratios)
    assert turned.slope_per_day == pytest.approx(-found.slope_per_day, abs=1e-9)
    assert later.slope_low == pytest.approx(found.slope_low, abs=1e-6)
    assert found.slope_low <= found.slope_per_day <= found.slope_high
    assert found.mean_low <= found.mean <= found.mean_high


def test_a_counter_who_drifts_is_found_out() -> None:
    chance = np.random.default_rng(7)
    days = np.arange(60.0)
    drifting = 0.004 * days + chance.normal(0, 0.05, 60)
    found = counter_drift(days, drifting)
    assert found.slope_low < 0.004 < found.slope_high
    assert found.slope_low > 0
    chart = ewma_chart(drifting, centre=0, sd=0.05)
    assert chart.first_outside is not None
    assert chart.averages[chart.first_outside] > chart.high


@settings(max_examples=60)
@given(st.lists(st.integers(0, 50), min_size=1, max_size=30), st.floats(0.05, 1))
def test_half_the_dish_doubles_the_carry_over(counts: list[int], share: float) -> None:
    whole = carry_over_per_wash(counts)
    part = carry_over_per_wash(counts, proportions_counted=share)
    assert part.rate == pytest.approx(whole.rate / share)
    assert part.upper_limit == pytest.approx(whole.upper_limit / share)
    assert whole.low <= whole.rate <= whole.upper_limit <= whole.high
    assert whole.upper_limit > 0
    more = carry_over_per_wash([*counts, 0])
    assert more.upper_limit < whole.upper_limit


def test_limits_hold_poisson_truth() -> None:
    chance = np.random.default_rng(9)
    for mean in (0.05, 0.5, 3.0):
        held = above = 0
        for _ in range(400):
            found = carry_over_per_wash(chance.poisson(mean, 20))
            held += found.low <= mean <= found.high
            above += mean <= found.upper_limit
        assert held / 400 >= 0.93
        assert above / 400 >= 0.93


def test_the_share_of_the_wash_before() -> None:
    found = carry_over_share([1, 0, 2, 0], [500, 20, 900, 80])
    assert found.rate == pytest.approx(3 / 1500)
    assert found.upper_limit == pytest.approx(float(stats.gamma.isf(0.05, 4)) / 1500)
    assert found.chance_as_uneven is not None
    assert found.chance_as_uneven > 0.5
    # A wash of nothing before a blank tells nothing of the share.
    with_empty = carry_over_share([1, 0, 2, 0, 0], [500, 20, 900, 80, 0])
    assert with_empty.upper_limit == found.upper_limit


def test_carry_over_in_one_wash_alone_is_uneven() -> None:
    clumped = carry_over_per_wash([0] * 19 + [12])
    assert clumped.chance_as_uneven is not None
    assert clumped.chance_as_uneven < 0.001
    assert carry_over_per_wash([0, 0]).chance_as_uneven is None


@settings(max_examples=60)
@given(st.integers(0, 60), st.integers(0, 60))
def test_shares_are_mirrored(positive: int, missing: int) -> None:
    washes = positive + missing
    if washes == 0:
        return
    found, other = positive_share(positive, washes), positive_share(missing, washes)
    assert (found.low, found.high) == pytest.approx((1 - other.high, 1 - other.low))
    assert found.low <= found.share <= found.high


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("y", lambda: concordance([1, 2, 3], [1, 2])),
        ("x", lambda: concordance([1, 2], [1, 2])),
        ("x", lambda: concordance([2, 2, 2], [1, 2, 3])),
        ("y", lambda: concordance([1, 2, 3], [0, 0, 0])),
        ("x", lambda: concordance([1, 2, float("nan")], [1, 2, 3])),
        ("confidence", lambda: concordance([1, 2, 4], [1, 2, 3], confidence=1)),
        ("x", lambda: limits_of_agreement([1], [1])),
        ("table", lambda: intraclass_correlation(np.ones(3))),
        ("table", lambda: intraclass_correlation([[1, 2], [3]])),
        ("table", lambda: intraclass_correlation(np.ones((3, 3)))),
        ("table", lambda: intraclass_correlation(np.full((3, 2), np.nan))),
        ("days", lambda: counter_drift([1, 2], [0, 0])),
        ("days", lambda: counter_drift([1, 1, 1], [0, 0, 1])),
        ("log_ratios", lambda: counter_drift([1, 2, 3], [0, 0])),
        ("sd", lambda: ewma_chart([1], centre=0, sd=0)),
        ("weight", lambda: ewma_chart([1], centre=0, sd=1, weight=0)),
        ("width", lambda: ewma_chart([1], centre=0, sd=1, width=-1)),
        ("washes", lambda: positive_share(0, 0)),
        ("positive", lambda: positive_share(3, 2)),
        ("counts", lambda: carry_over_per_wash([0.5])),
        (
            "proportions_counted",
            lambda: carry_over_per_wash([1], proportions_counted=0),
        ),
        (
            "proportions_counted",
            lambda: carry_over_per_wash([1, 2, 3], proportions_counted=[1, 1]),
        ),
        ("before", lambda: carry_over_share([1], [0])),
        ("before", lambda: carry_over_share([1], [2, 3])),
        ("before", lambda: carry_over_share([1], [-2])),
    ],
)
def test_what_cannot_be_is_refused_by_name(argument: str, call: object) -> None:
    with pytest.raises(EstimationError) as refused:
        call()  # type: ignore[operator] # each is a call without arguments
    assert refused.value.argument == argument
