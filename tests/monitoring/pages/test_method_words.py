"""A density's method is told in words, whatever its age."""

from typing import Any

from monitoring.models import Density
from monitoring.pages.method_words import method_words

DEFAULT = {
    "k": {"kind": "LogUniformK", "low": 0.02, "high": 5.0},
    "sigma": {"kind": "ExponentialSigma", "rate": 2.0, "low": 0.427, "high": 1.983},
    "lognormal_odds": 1.0,
}
HISTORY = {
    "k": {"median": 1.1},
    "sigma": {"median": 0.9},
    "lognormal_odds": 0.01,
    "rounds": 12,
    "bags": 180,
}


def _density(method: str = "averaged", **used: Any) -> Density:
    return Density(method=method, method_version="1", used=used)


def test_an_older_density_keeps_its_own_words() -> None:
    words = method_words(
        _density("negative_binomial", k_prior={"low": 0.02, "high": 5.0})
    )
    assert words.model == "negative binomial posterior, version 1"
    assert words.held == "k log-uniform from 0.02 to 5.0"
    assert (words.found, words.history) == ("", "none held")


def test_without_a_history_both_shapes_are_as_probable() -> None:
    found = {"lognormal_share": 0.4, "sigma_median": 0.8, "history_used": False}
    words = method_words(_density(clumping=DEFAULT, history=None, found=found))
    assert "k log-uniform from 0.02 to 5, or lognormal leaves" in words.held
    assert words.found.startswith("lognormal leaves have 40 in 100 of the weight")
    assert words.history == "none held"


def test_a_history_is_told_when_used_and_when_set_aside() -> None:
    found = {"lognormal_share": 0.01, "sigma_median": 0.8, "history_used": True}
    used = method_words(_density(clumping=DEFAULT, history=HISTORY, found=found))
    assert used.history == "used: 12 earlier rounds (180 bags)"
    assert "k about 1.1" in used.held
    assert "100 to 1 for the negative binomial" in used.held
    aside = method_words(
        _density(
            clumping=DEFAULT, history=HISTORY, found=found | {"history_used": False}
        )
    )
    assert "were set aside" in aside.history
    assert "log-uniform" in aside.held
