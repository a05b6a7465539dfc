"""A stored density's method, and what was held of clumping, in words."""

from dataclasses import dataclass
from typing import Any

from monitoring.models import Density
from monitoring.words import figure, in_hundred

MODEL_WORDS = {
    "negative_binomial": "negative binomial posterior",
    "averaged": "posterior averaged over two shapes of clumping",
}


@dataclass(frozen=True, slots=True)
class MethodWords:
    """What the working of a density says of its method."""

    model: str
    held: str
    found: str
    history: str


def method_words(density: Density) -> MethodWords:
    """Put a density's method into words; superseded ones may be of an older method."""
    used = density.used
    found = used.get("found", {})
    return MethodWords(
        model=f"{MODEL_WORDS.get(density.method, density.method)}, version"
        f" {density.method_version}",
        held=_learned(used) if found.get("history_used") else _held(used),
        found=_found(found),
        history=_history(used.get("history"), found),
    )


def _held(used: dict[str, Any]) -> str:
    if "clumping" not in used:
        prior = used["k_prior"]
        return f"k log-uniform from {prior['low']} to {prior['high']}"
    k, sigma = used["clumping"]["k"], used["clumping"]["sigma"]
    return (
        f"negative binomial with k log-uniform from {k['low']:g} to {k['high']:g}, or"
        f" lognormal leaves with sigma from {sigma['low']:g} to {sigma['high']:g}, less"
        f" believed the larger it is (rate {sigma['rate']:g}); both as probable"
    )


def _learned(used: dict[str, Any]) -> str:
    history = used["history"]
    k, sigma = history["k"]["median"], history["sigma"]["median"]
    odds = history["lognormal_odds"]
    likelier = f"{figure(max(odds, 1 / odds))} to 1 for"
    shape = "lognormal leaves" if odds > 1 else "the negative binomial"
    return (
        f"negative binomial with k about {figure(k)}, or lognormal leaves with sigma"
        f" about {figure(sigma)}; {likelier} {shape}"
    )


def _found(found: dict[str, Any]) -> str:
    if found.get("lognormal_share") is None:
        return ""
    share = in_hundred(found["lognormal_share"])
    return (
        f"lognormal leaves have {share} of the weight after the counts"
        f" (sigma about {figure(found['sigma_median'])})"
    )


def _history(history: dict[str, Any] | None, found: dict[str, Any]) -> str:
    if history is None:
        return "none held"
    learned = f"{history['rounds']} earlier rounds ({history['bags']} bags)"
    if not found.get("history_used"):
        return (
            f"{learned} were set aside: these bags are more probable without what they"
            " told, so this round is not like them"
        )
    return f"used: {learned}"
