"""How many times as many there are, as the opening sentence of a block says it."""

from datetime import date
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtri

from monitoring.estimation import PROBABILITIES
from monitoring.models import Density, Organism, Round
from monitoring.pages.sentences import sentence_of


def _density(median: float, on: date, **fields: Any) -> Density:
    usual: dict[str, Any] = {
        "tissue": "leaf",
        "organism": Organism(pk=1, name="rust mites", role="pest", position=0),
        "round": Round(collected_on=on),
        "median": median,
        "low": median / 2,
        "high": median * 2,
        "sample_mean": median,
        "quantiles": (median * np.exp(0.3 * ndtri(PROBABILITIES))).tolist(),
        "bags_used": 20,
    }
    return Density(**(usual | fields))


NEWEST, BEFORE = date(2026, 8, 18), date(2026, 8, 4)


@pytest.mark.parametrize(
    ("median", "words"),
    [
        (300.0, "Rust mites 3.0-fold since 4 August (1.3 to 6.9)."),
        (60.0, "Rust mites down to 0.60 of those on 4 August (0.26 to 1.4)."),
    ],
)
def test_growth_since_the_round_before_is_said(median: float, words: str) -> None:
    told = sentence_of(
        [_density(median, NEWEST)], [], [], before=[_density(100.0, BEFORE)]
    )
    assert words in told


@pytest.mark.parametrize(
    "earlier",
    [
        _density(100.0, date(2025, 8, 4)),
        _density(100.0, BEFORE, sample_mean=0.0),
        _density(100.0, BEFORE, high=None),
        _density(100.0, BEFORE, at_least=True),
        _density(100.0, BEFORE, quantiles=[]),
    ],
    ids=["last season", "none found", "no upper limit", "at least", "no figure"],
)
def test_what_cannot_be_set_against_each_other_is_not(earlier: Density) -> None:
    told = sentence_of([_density(300.0, NEWEST)], [], [], before=[earlier])
    assert "fold" not in told
    assert "down to" not in told


def test_predators_and_lone_rounds_have_no_such_words() -> None:
    predator = Organism(pk=1, name="predatory mites", role="predator", position=1)
    told = sentence_of(
        [_density(3.0, NEWEST, organism=predator)],
        [],
        [],
        before=[_density(1.0, BEFORE, organism=predator)],
    )
    assert "fold" not in told
    assert "fold" not in sentence_of([_density(3.0, NEWEST)], [], [])
