"""What the page of symptoms and causes shows."""

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.cache import cache

from blocks.models import Block
from monitoring.figures.symptoms import DensityClass, density_classes, levels_figure
from monitoring.models import Organism, SymptomScale
from monitoring.pages.symptom_words import explained, odds, verdict
from monitoring.queries.symptoms import ScoredLeaf, ScoredLeaves, SeenLeaf
from monitoring.symptoms.association import Association, Effect, associate
from monitoring.words import figure

VERSION = "2"
KEPT_S = 24 * 3600
ROWS_SHOWN = 200


@dataclass(frozen=True, slots=True)
class OrganismPart:
    """One organism's odds ratio, figure and table."""

    organism: Organism
    odds: str
    leaves_with: int
    figure: dict[str, Any]
    summary: str
    classes: list[DensityClass]

    @property
    def figure_id(self) -> str:
        """The id of the figure's JSON on the page."""
        return f"levels-{self.organism.code}"


@dataclass(frozen=True, slots=True)
class LeafRow:
    """One leaf in the table of bags."""

    leaf: ScoredLeaf
    block: Block
    score: str
    densities: list[str]


@dataclass(frozen=True, slots=True)
class SymptomPage:
    """The answer with what it rests on."""

    verdict: str
    explained: list[str]
    found: Association
    level_names: list[str]
    parts: list[OrganismPart]
    rows: list[LeafRow]
    leaves: ScoredLeaves

    @property
    def rounds(self) -> int:
        """How many rounds the leaves are of."""
        return len({leaf.round_id for leaf in self.leaves.leaves})


def symptom_page(
    leaves: ScoredLeaves, organisms: list[Organism], blocks: dict[int, Block]
) -> SymptomPage | None:
    """Put the page together; None where no leaf has both score and counts."""
    if not leaves.leaves or leaves.scale is None:
        return None
    found = _association(leaves.leaves)
    names = names_of_levels(leaves.scale, [leaf.score for leaf in leaves.leaves])
    return SymptomPage(
        verdict=verdict(found, organisms),
        explained=explained(found, organisms),
        found=found,
        level_names=list(names.values()),
        parts=[
            _part(organism, found.effects[place], leaves.seen_of(place), names)
            for place, organism in enumerate(organisms)
        ],
        rows=[
            LeafRow(
                leaf,
                blocks[leaf.block_id],
                names[leaf.score],
                [figure(value) for value in leaf.densities],
            )
            for leaf in leaves.leaves[:ROWS_SHOWN]
        ],
        leaves=leaves,
    )


def names_of_levels(scale: SymptomScale, scores: list[int]) -> dict[int, str]:
    """Name each score of the scale, and any beyond it that was given all the same."""
    named = {
        score: f"{score}, {name}" if name else str(score)
        for score, name in scale.levels
    }
    return dict(sorted((named | {s: str(s) for s in scores if s not in named}).items()))


def _association(leaves: list[ScoredLeaf]) -> Association:
    """Ask which organism goes with the scores; the same leaves are asked once."""
    scores = np.array([leaf.score for leaf in leaves], dtype=np.int64)
    counts = np.array([leaf.counts for leaf in leaves], dtype=np.float64)
    shares = np.array([leaf.shares for leaf in leaves], dtype=np.float64)
    # Leaves of one canopy position of one round: of an age, and with the same animals
    # within reach.
    places = sorted({(leaf.round_id, leaf.position) for leaf in leaves})
    number = {place: index for index, place in enumerate(places)}
    rounds = np.array(
        [number[leaf.round_id, leaf.position] for leaf in leaves], dtype=np.int64
    )
    digest = hashlib.sha256(VERSION.encode())
    for part in (scores, counts, shares, rounds):
        digest.update(part.tobytes())
    key = f"symptoms-{digest.hexdigest()}"
    known: Association | None = cache.get(key)
    if known is None:
        known = associate(scores, counts, shares, rounds)
        cache.set(key, known, KEPT_S)
    return known


def _part(
    organism: Organism,
    effect: Effect,
    leaves: list[SeenLeaf],
    names: dict[int, str],
) -> OrganismPart:
    classes = density_classes(
        [leaf.density for leaf in leaves], [leaf.score for leaf in leaves], list(names)
    )
    return OrganismPart(
        organism=organism,
        odds=odds(effect),
        leaves_with=sum(leaf.density > 0 for leaf in leaves),
        figure=levels_figure(classes, list(names.values()), organism.name),
        summary=_summary(classes, organism, names),
        classes=classes,
    )


def _summary(
    classes: list[DensityClass], organism: Organism, names: dict[int, str]
) -> str:
    """Say in words what the figure shows: the scores at both ends of density."""
    middle = (len(names) + 1) // 2
    told = [
        f"{one.label}: {100 * sum(one.at_level[middle:]) / one.leaves:.0f} in 100"
        for one in (classes[0], classes[-1])
    ]
    level = list(names.values())[middle]
    return (
        f"Leaves that score “{level}” or higher, by {organism.name} per leaf."
        f" {'; '.join(told[: len(classes)])}."
    )
