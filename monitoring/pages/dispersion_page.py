"""What the page of a group's dispersion shows: sentence, laws, plots, rounds."""

from dataclasses import dataclass, field
from math import isfinite
from statistics import median
from typing import Any

from monitoring.densities.history import FEWEST_ROUNDS, PooledHistory
from monitoring.effort.laws import (
    FEWEST_BAGS_SHOWN,
    FEWEST_ROUNDS_FOR_LAWS,
    AtExposure,
    Laws,
    laws_of,
    usual_units,
)
from monitoring.estimation import held_by_fullest
from monitoring.figures.clumping import Sample, crowding_figure, variance_figure
from monitoring.figures.tones import tone_of
from monitoring.models import Organism
from monitoring.words import day, figure, in_hundred, sentence_case, several

# Below this the rounds' differences are more than chance makes of one k.
UNLIKE = 0.01
FULLEST = 0.2
ROWS_AT_ONCE = 30
NO_LINE = f"none yet: it takes {FEWEST_ROUNDS_FOR_LAWS} rounds or more of unlike means"
# From this k on, clumping hardly matters any more.
HARDLY_CLUMPED = 8


@dataclass(frozen=True, slots=True)
class DispersionPage:
    """Everything that the page shows; without rounds only what is missing."""

    organism: Organism
    tissue: str
    per_bag: str
    sentence: str
    explained: str
    missing: list[str]
    laws: Laws | None = None
    median_k: float | None = None
    alike: str = ""
    power_law: str = ""
    patchiness: str = ""
    figures: list[tuple[str, str, dict[str, Any]]] = field(default_factory=list)
    rows: list[AtExposure] = field(default_factory=list)

    @property
    def newest_rows(self) -> list[AtExposure]:
        """The rounds shown at once."""
        return self.rows[:ROWS_AT_ONCE]

    @property
    def older_rows(self) -> list[AtExposure]:
        """The rounds behind a fold."""
        return self.rows[ROWS_AT_ONCE:]


def dispersion_page(
    history: PooledHistory, organism: Organism, tissue: str
) -> DispersionPage:
    """Put together the page of one organism on one tissue."""
    units = usual_units(history)
    rounds = [one for one in history.rounds if one.units == units]
    per_bag = tissue if units == 1 else f"bag of {units} {several(tissue)}"
    missing = _missing(history, len(rounds))
    if not rounds:
        return DispersionPage(
            organism=organism,
            tissue=tissue,
            per_bag=per_bag,
            sentence=f"Nothing can be said yet of how {organism.name} clump on"
            f" {several(tissue)}.",
            explained="",
            missing=missing,
        )
    whole = len(rounds) == len(history.rounds)
    laws = laws_of(rounds, exposure=units, together=history.together if whole else None)
    told = [one.fit.k for one in rounds if isfinite(one.fit.k)]
    return DispersionPage(
        organism=organism,
        tissue=tissue,
        per_bag=per_bag,
        sentence=_sentence(organism, tissue, laws),
        explained=_explained(laws),
        missing=missing,
        laws=laws,
        median_k=median(told) if told else None,
        alike=_alike(laws),
        power_law=_power_law_words(laws),
        patchiness=_patchiness_words(laws),
        figures=_figures(laws, organism, per_bag),
        rows=laws.rounds[::-1],
    )


def _missing(history: PooledHistory, used: int) -> list[str]:
    told = []
    if not used:
        told.append(
            f"It takes rounds with {FEWEST_BAGS_SHOWN} bags or more counted, with an"
            " animal among them, and there is none."
        )
    elif used < FEWEST_ROUNDS:
        told.append(
            f"{_rounds(used)} so far: {FEWEST_ROUNDS} or more make figures that can be"
            " relied on."
        )
    if history.too_few_bags:
        told.append(
            f"{_rounds(history.too_few_bags)} with fewer than {FEWEST_BAGS_SHOWN} bags"
            " counted left out."
        )
    other = len(history.rounds) - used
    if other:
        told.append(
            f"{_rounds(other)} with other numbers in their bags left out: k is a bag's."
        )
    return told


def _rounds(number: int) -> str:
    return "1 round" if number == 1 else f"{number} rounds"


def _sentence(organism: Organism, tissue: str, laws: Laws) -> str:
    name, on = sentence_case(organism.name), several(tissue)
    number = _rounds(len(laws.rounds))
    if not laws.has_k:
        return (
            f"{name} on {on}: the bags of {number} differ no more than chance makes"
            " them; no clumping is seen."
        )
    error = laws.common_k_standard_error
    spread = f" (standard error {figure(error)})" if isfinite(error) else ""
    held = held_by_fullest(laws.common_k, share=FULLEST)
    how = "hardly clumped" if laws.common_k >= HARDLY_CLUMPED else "clumped"
    return (
        f"{name} on {on} are {how}: k {figure(laws.common_k)}{spread} over {number}."
        f" The fullest fifth of the bags holds about {in_hundred(held)} of the animals."
    )


def _explained(laws: Laws) -> str:
    if not laws.has_k:
        return "Then only the number of animals counted makes a mean precise."
    least = 16 / laws.common_k
    return (
        "k says how alike bags are: near 0 a few bags hold nearly all animals, from"
        f" about {HARDLY_CLUMPED} on bags differ little more than chance makes them."
        f" With this k even a dense block takes {max(1, round(least))} bags or more"
        f" for a mean with a standard error of 25 in 100 of"
        " it, however well each is counted."
    )


def _alike(laws: Laws) -> str:
    if len(laws.rounds) < FEWEST_ROUNDS_FOR_LAWS:
        return "too few rounds to tell whether they share one k"
    if laws.alike < UNLIKE:
        return (
            "the rounds differ in k by more than chance makes of one k, so it is an"
            " average; the power law lets k go with the density"
        )
    return (
        f"one k fits all rounds: chance alone makes such differences"
        f" {in_hundred(laws.alike)} times"
    )


def _power_law_words(laws: Laws) -> str:
    law = laws.power_law
    if law is None:
        return NO_LINE
    return (
        f"variance = {law.a:.3g} mean^{law.b:.3f} (standard error of the slope"
        f" {law.b_standard_error:.2g}, {_rounds(law.samples)})"
    )


def _patchiness_words(laws: Laws) -> str:
    line = laws.patchiness
    if line is None:
        return NO_LINE
    return (
        f"mean crowding = {line.alpha:.3g} + {line.beta:.3f} mean (standard errors"
        f" {line.alpha_standard_error:.2g} and {line.beta_standard_error:.2g})"
    )


def _figures(
    laws: Laws, organism: Organism, per_bag: str
) -> list[tuple[str, str, dict[str, Any]]]:
    tone = tone_of(organism.position)
    samples = [
        Sample(
            one.mean,
            one.variance,
            f"{one.round.block_name}, {day(one.round.collected_on)}: mean"
            f" {figure(one.mean)}, {len(one.round.bags)} bags",
        )
        for one in laws.rounds
        if one.variance > 0
    ]
    law, line = laws.power_law, laws.patchiness
    variance = variance_figure(
        samples, tone, unit=per_bag, power_law=law, common_k=laws.common_k
    )
    crowding = crowding_figure(samples, tone, unit=per_bag, line=line)
    return [
        (
            "plot-variance",
            "Variance over mean of each round, both logarithmic, with the power law,"
            f" the common k and the line of no clumping. {_power_law_words(laws)}",
            variance,
        ),
        (
            "plot-crowding",
            "Mean crowding over mean of each round, with the regression line and the"
            f" line of no clumping. {_patchiness_words(laws)}",
            crowding,
        ),
    ]
