"""Calibration runs together: laws, other programs, and simulated laboratories."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit
from statsmodels.stats.meta_analysis import combine_effects

from monitoring.estimation import (
    EstimationError,
    PooledRecovery,
    SpikeRun,
    WashRun,
    pool_recoveries,
    recovery_from_spikes,
    recovery_from_washes,
)

spikes = st.integers(1, 400).flatmap(
    lambda added: st.builds(
        SpikeRun, recovered=st.integers(0, added), added=st.just(added)
    )
)
washes = st.tuples(st.integers(2, 500), st.integers(0, 99), st.integers(0, 60)).map(
    lambda drawn: WashRun(
        catches=(drawn[0], drawn[0] * drawn[1] // 100, drawn[0] * drawn[2] // 100)
    )
)
some_runs = st.lists(st.one_of(spikes, washes), min_size=1, max_size=8)


def spike(recovered: int, added: int) -> SpikeRun:
    return SpikeRun(recovered=recovered, added=added)


def of_shares(*shares: float, added: int = 500) -> PooledRecovery:
    return pool_recoveries([spike(round(added * share), added) for share in shares])


@settings(max_examples=20)
@given(some_runs)
def test_any_runs_give_an_interval_around_the_mean_and_a_beta_of_it(
    runs: list[SpikeRun | WashRun],
) -> None:
    found = pool_recoveries(runs)
    assert 0 <= found.low < found.mean < found.high <= 1
    assert 0 <= found.between_runs_low <= found.between_runs <= found.between_runs_high
    assert found.new_run.mean == pytest.approx(found.mean)
    assert len(found.runs) == len(runs)
    assert all(0 <= run.low <= run.median <= run.high <= 1 for run in found.runs)


@settings(max_examples=20)
@given(st.lists(st.one_of(spikes, washes), min_size=2, max_size=6), st.randoms())
def test_the_order_of_runs_does_not_matter(
    runs: list[SpikeRun | WashRun], chance: object
) -> None:
    shuffled = list(runs)
    chance.shuffle(shuffled)  # type: ignore[attr-defined] # a Random
    one, other = pool_recoveries(runs), pool_recoveries(shuffled)
    assert other.mean == pytest.approx(one.mean, abs=1e-9)
    assert other.new_run.a == pytest.approx(one.new_run.a, rel=1e-6)


@settings(max_examples=20)
@given(st.lists(spikes, min_size=1, max_size=6))
def test_what_is_lost_mirrors_what_is_found(runs: list[SpikeRun]) -> None:
    mirrored = [spike(run.added - run.recovered, run.added) for run in runs]
    one, other = pool_recoveries(runs), pool_recoveries(mirrored)
    assert other.mean == pytest.approx(1 - one.mean, abs=1e-6)
    assert other.low == pytest.approx(1 - one.high, abs=1e-4)


@pytest.mark.parametrize(("found", "added"), [(43, 50), (0, 10), (10, 10), (850, 1000)])
def test_a_spike_by_itself_has_jeffreys_interval(found: int, added: int) -> None:
    alone = pool_recoveries([spike(found, added)]).runs[0]
    expected = recovery_from_spikes(found, added).interval()
    assert (alone.low, alone.high) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize("catches", [(412, 61, 9), (2440, 860, 430), (790, 280)])
def test_washes_by_themselves_agree_with_the_large_sample_error(
    catches: tuple[int, ...],
) -> None:
    alone = pool_recoveries([WashRun(catches=catches)]).runs[0]
    usual = recovery_from_washes(catches, method="given_total")
    error = usual.recovery_standard_error
    assert alone.median == pytest.approx(usual.recovery, abs=0.2 * error)
    assert alone.high - alone.low == pytest.approx(2 * 1.96 * error, rel=0.06)


def test_runs_that_differ_leave_more_doubt_than_runs_alike() -> None:
    alike, unlike = of_shares(*[0.8] * 6), of_shares(0.7, 0.9, 0.75, 0.85, 0.68, 0.92)
    assert unlike.mean == pytest.approx(alike.mean, abs=0.02)
    assert unlike.between_runs > 3 * alike.between_runs
    spread = [high - low for low, high in (alike.new_run.interval(),
                                           unlike.new_run.interval())]  # fmt: skip
    assert spread[1] > 2 * spread[0]


def test_a_new_run_is_less_certain_than_the_mean_of_all() -> None:
    found = of_shares(0.78, 0.86, 0.9, 0.76, 0.82, 0.93)
    low, high = found.new_run.interval()
    assert low < found.low
    assert high > found.high


def test_more_runs_alike_narrow_the_new_run() -> None:
    widths = []
    for runs in (1, 3, 10, 30):
        low, high = of_shares(*[0.85] * runs).new_run.interval()
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < 0.1 < widths[0]


def test_pooling_agrees_with_random_effects_on_the_logit() -> None:
    """statsmodels' combine_effects (Paule-Mandel) on the same eight runs."""
    counts = [400, 430, 450, 380, 410, 465, 421, 440]
    logits = np.array([np.log(x / (500 - x)) for x in counts])
    errors = np.array([1 / x + 1 / (500 - x) for x in counts])
    theirs = combine_effects(logits, errors, method_re="iterated")
    centre = float(expit(theirs.mean_effect_re))
    spread = float(np.sqrt(theirs.tau2)) * centre * (1 - centre)
    found = pool_recoveries([spike(x, 500) for x in counts])
    # Theirs is the middle run, a little above the mean over runs.
    assert found.mean == pytest.approx(centre, abs=0.015)
    assert found.between_runs == pytest.approx(spread, rel=0.15)
    assert found.low < centre < found.high


@pytest.mark.parametrize("kind", ["spikes", "washes"])
def test_intervals_of_simulated_laboratories_hold(kind: str) -> None:
    """Mean 0.85, 0.05 between runs, five runs: of 60 laboratories 52 or more.

    A new run and the mean of all runs, each in its interval of 95 in 100.
    """
    chance = np.random.default_rng(17)
    size = 0.85 * 0.15 / 0.05**2 - 1
    held = np.zeros(2)
    for _ in range(60):
        shares = chance.beta(0.85 * size, 0.15 * size, 6)
        runs = [_run(kind, share, chance) for share in shares[:5]]
        found = pool_recoveries(runs)
        low, high = found.new_run.interval()
        held += [found.low <= 0.85 <= found.high, low <= shares[5] <= high]
    assert (held >= 52).all()


def _run(kind: str, share: float, chance: np.random.Generator) -> SpikeRun | WashRun:
    if kind == "spikes":
        return spike(int(chance.binomial(60, share)), 60)
    left, catches = 300, []
    for _ in range(3):
        catches.append(int(chance.binomial(left, share)))
        left -= catches[-1]
    return WashRun(catches=tuple(catches))


@pytest.mark.parametrize(
    "runs",
    [
        [spike(1_000_000, 1_000_000)] * 2,
        [spike(0, 1_000_000)],
        [spike(430_000, 500_000)] * 20,
        [spike(1, 100), spike(99, 100)],
        [WashRun(catches=(50, 0))],
        [WashRun(catches=(900_000, 1))],
    ],
)
def test_extreme_runs_still_answer(runs: list[SpikeRun | WashRun]) -> None:
    found = pool_recoveries(runs)
    assert np.isfinite([found.mean, found.between_runs, found.new_run.a]).all()
    assert found.low < found.high


@pytest.mark.parametrize(
    ("words", "runs"),
    [
        ("holds no run", []),
        ("run 2: 12 found again of 10", [spike(9, 10), spike(12, 10)]),
        ("run 1: 0 animals added", [spike(0, 0)]),
        ("run 1: 2000000 animals added", [spike(0, 2_000_000)]),
        ("run 1: needs two washes", [WashRun(catches=(5,))]),
        ("run 1: no wash caught anything", [WashRun(catches=(0, 0))]),
        ("run 2: the second wash caught 52", [spike(9, 10), WashRun(catches=(40, 52))]),
        ("run 1: more than 1,000,000", [WashRun(catches=(2_000_000, 10))]),
        ("run 1: must hold whole", [WashRun(catches=(5, -1))]),
    ],
)
def test_a_run_that_cannot_be_is_refused_by_its_number(
    words: str, runs: list[SpikeRun | WashRun]
) -> None:
    with pytest.raises(EstimationError, match=words) as refused:
        pool_recoveries(runs)
    assert refused.value.argument == "runs"


@pytest.mark.parametrize(
    ("argument", "call"),
    [
        ("confidence", lambda: pool_recoveries([spike(9, 10)], confidence=1)),
        (
            "scatter_beforehand",
            lambda: pool_recoveries([spike(9, 10)], scatter_beforehand=0),
        ),
    ],
)
def test_terms_that_cannot_be_are_refused_by_name(
    argument: str, call: Callable[[], object]
) -> None:
    with pytest.raises(EstimationError) as refused:
        call()
    assert refused.value.argument == argument
