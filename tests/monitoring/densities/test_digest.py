"""A digest changes if and only if an input of the density does."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.densities import inputs
from monitoring.densities.compute import rank_correlation
from monitoring.densities.inputs import Settings, digest_of, shares_of, used_for
from monitoring.densities.samples import BagCount, OtherBag, Sample
from monitoring.estimation import METHOD_VERSIONS, LeafPriors, LogUniformK
from monitoring.models import CanopyWeight, ClumpingPrior, Recovery

POSITIONS = st.sampled_from(["low", "mid", "upper"])
CODES = st.integers(1, 50).map(str)
BAGS = st.builds(
    BagCount,
    bag_id=st.integers(1, 10_000),
    code=CODES,
    position=POSITIONS,
    units=st.integers(1, 5),
    animals=st.integers(0, 500),
    proportion_counted=st.floats(0.01, 1),
)
OTHERS = st.lists(st.builds(OtherBag, CODES, POSITIONS), max_size=4)
SAMPLES = st.builds(
    Sample,
    round_id=st.just(1),
    tissue=st.just("leaf"),
    organism_id=st.just(1),
    counted=st.lists(BAGS, min_size=1, max_size=8, unique_by=lambda bag: bag.bag_id),
    missing=OTHERS,
    uncountable=OTHERS,
)
RECOVERY = Recovery(pk=1, alpha=162.15, beta=27.83, origin="common_practice")


LEARNED = ClumpingPrior(
    pk=1,
    tissue="leaf",
    organism_id=1,
    k_median=0.5,
    k_sd_log=0.35,
    sigma_median=1.1,
    sigma_sd_log=0.15,
    lognormal_odds=0.2,
    rounds=12,
    valid_from=date(2026, 1, 1),
)


def _digest(sample: Sample, recovery: Recovery | None = RECOVERY) -> str:
    return digest_of(sample, used_for(recovery, None, None))


@given(sample=SAMPLES, data=st.data())
def test_the_order_in_which_bags_are_read_does_not_matter(
    sample: Sample, data: st.DataObject
) -> None:
    shuffled = replace(
        sample,
        counted=data.draw(st.permutations(sample.counted)),
        missing=data.draw(st.permutations(sample.missing)),
        uncountable=data.draw(st.permutations(sample.uncountable)),
    )
    assert _digest(shuffled) == _digest(sample)


CHANGES: dict[str, Any] = {
    "animals": lambda bag: bag.animals + 1,
    "units": lambda bag: bag.units + 1,
    "position": lambda bag: bag.position + "er",
    "code": lambda bag: bag.code + "a",
    # The smallest change that a float can hold.
    "proportion_counted": lambda bag: bag.proportion_counted * (1 - 2**-52),
}


@pytest.mark.parametrize("name", list(CHANGES))
@given(sample=SAMPLES, data=st.data())
def test_any_change_of_a_bag_changes_it(
    name: str, sample: Sample, data: st.DataObject
) -> None:
    place = data.draw(st.integers(0, len(sample.counted) - 1))
    counted = list(sample.counted)
    counted[place] = counted[place]._replace(**{name: CHANGES[name](counted[place])})
    assert _digest(replace(sample, counted=counted)) != _digest(sample)


@given(sample=SAMPLES)
def test_a_bag_more_or_less_changes_it(sample: Sample) -> None:
    other = OtherBag("new", "mid")
    changed = [
        replace(sample, counted=sample.counted[1:]),
        replace(sample, missing=[*sample.missing, other]),
        replace(sample, uncountable=[*sample.uncountable, other]),
    ]
    assert len({_digest(sample), *map(_digest, changed)}) == 4


@pytest.mark.parametrize(
    "other",
    [
        None,
        Recovery(pk=2, alpha=162.15, beta=27.83, origin="common_practice"),
        Recovery(pk=1, alpha=162.16, beta=27.83, origin="common_practice"),
        Recovery(pk=1, fixed_value=0.85, origin="stated"),
    ],
)
def test_another_recovery_changes_it(other: Recovery | None) -> None:
    sample = Sample(1, "leaf", 1, [BagCount(1, "1", "mid", 1, 3, 1.0)])
    assert _digest(sample, other) != _digest(sample)


def test_weights_prior_and_method_change_it(monkeypatch: pytest.MonkeyPatch) -> None:
    sample = Sample(1, "leaf", 1, [BagCount(1, "1", "mid", 1, 3, 1.0)])
    seen = {
        _digest(sample),
        digest_of(sample, used_for(RECOVERY, {"mid": 0.5, "upper": 0.5}, None)),
        digest_of(sample, used_for(RECOVERY, {"mid": 0.4, "upper": 0.6}, None)),
        digest_of(sample, used_for(RECOVERY, None, LEARNED)),
    }
    with monkeypatch.context() as patch:
        other = LeafPriors(LogUniformK(0.05, 5))
        patch.setattr(inputs, "LeafPriors", lambda: other)
        seen.add(_digest(sample))
    with monkeypatch.context() as patch:
        patch.setitem(METHOD_VERSIONS, inputs.METHOD, "next")
        seen.add(_digest(sample))
    assert len(seen) == 6
    assert _digest(sample) in seen


def _bags(*positions: str) -> Sample:
    counted = [
        BagCount(number, str(number), position, 1, number, 1.0)
        for number, position in enumerate(positions)
    ]
    return Sample(1, "leaf", 1, counted)


def test_weights_are_scaled_to_the_positions_found() -> None:
    weights = {"low": 0.2, "mid": 0.5, "upper": 0.3}
    shares = shares_of(_bags("mid", "upper", "mid"), weights)
    assert shares == pytest.approx({"mid": 0.625, "upper": 0.375})


@pytest.mark.parametrize(
    ("sample", "weights"),
    [
        (_bags("mid", "mid"), {"mid": 0.5, "upper": 0.5}),
        (_bags("mid", "inner"), {"mid": 0.5, "upper": 0.5}),
        (_bags("mid", "upper"), {"mid": 1.0, "upper": 0.0}),
        (_bags("mid", "upper"), {}),
    ],
)
def test_bags_are_pooled_unless_every_position_has_a_share(
    sample: Sample, weights: dict[str, float]
) -> None:
    assert shares_of(sample, weights) is None


def test_the_recovery_in_force_is_the_newest_up_to_the_day() -> None:
    rows = [
        Recovery(pk=pk, organism_id=1, tissue="leaf", fixed_value=0.5, valid_from=day)
        for pk, day in ((3, date(2026, 7, 1)), (2, date(2026, 1, 1)))
    ]
    settings = Settings(recoveries=rows, weights=[], clumping=[])

    def found(day: date, tissue: str = "leaf") -> Recovery | None:
        return settings.recovery_on(day, organism_id=1, tissue=tissue)

    assert found(date(2026, 7, 1)) is rows[0]
    assert found(date(2026, 6, 30)) is rows[1]
    assert found(date(2025, 12, 31)) is None
    assert found(date(2026, 7, 1), tissue="bud") is None


def test_weights_of_one_date_are_never_mixed_with_older_ones() -> None:
    rows = [
        CanopyWeight(position="mid", share=1.0, valid_from=date(2026, 7, 1)),
        CanopyWeight(position="mid", share=0.5, valid_from=date(2026, 1, 1)),
        CanopyWeight(position="upper", share=0.5, valid_from=date(2026, 1, 1)),
    ]
    settings = Settings(recoveries=[], weights=rows, clumping=[])
    assert settings.weights_on(date(2026, 7, 2)) == {"mid": 1.0}
    assert settings.weights_on(date(2026, 6, 2)) == {"mid": 0.5, "upper": 0.5}
    assert settings.weights_on(date(2025, 6, 2)) == {}


@pytest.mark.parametrize(
    ("predators", "prey", "expected"),
    [
        ([0, 1, 2, 3], [5, 6, 7, 8], 0.99),
        ([0, 1, 2, 3], [8, 7, 6, 5], -0.99),
        ([0, 0, 0, 0], [5, 6, 7, 8], 0.0),
        ([0, 1, 2], [5, 6, 7], 0.0),
        # By hand: 1 - 6 (1 + 1 + 1 + 1) / (4 x 15) = 0.6.
        ([1, 2, 3, 4], [2, 1, 4, 3], 0.6),
    ],
)
def test_bags_are_correlated_by_rank(
    predators: list[int], prey: list[int], expected: float
) -> None:
    first, second = (
        Sample(
            1,
            "leaf",
            1,
            [BagCount(i, str(i), "mid", 1, count, 1.0) for i, count in enumerate(seen)],
        )
        for seen in (predators, prey)
    )
    assert rank_correlation(first, second) == pytest.approx(expected)


def test_what_was_learned_holds_from_its_day_and_for_bags_of_its_units() -> None:
    ended = ClumpingPrior(
        pk=2, tissue="leaf", organism_id=1, valid_from=date(2026, 7, 1)
    )
    settings = Settings(recoveries=[], weights=[], clumping=[ended, LEARNED])
    sample = _bags("mid", "mid")
    assert settings.clumping_on(date(2026, 6, 30), sample) is LEARNED
    assert settings.clumping_on(date(2026, 7, 1), sample) is None
    assert settings.clumping_on(date(2025, 12, 31), sample) is None
    double = replace(sample, counted=[one._replace(units=2) for one in sample.counted])
    assert settings.clumping_on(date(2026, 6, 30), double) is None
    assert (
        settings.clumping_on(date(2026, 6, 30), replace(sample, tissue="bud")) is None
    )
