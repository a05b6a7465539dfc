"""What the farm group's page shows: blocks in classes of density, list and map."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from blocks.models import Block
from monitoring.models import Density
from monitoring.pages.sentences import chance_above, density_words, threshold_for
from monitoring.thresholds import StandingAlert, ThresholdInForce
from monitoring.words import day, in_hundred, stated

# Class breaks: shares of a block's threshold, or animals where there is none.
SHARES = (0.1, 1 / 3, 1.0, 3.0)
SHARE_WORDS = (
    "under a tenth of the threshold",
    "a tenth to a third of it",
    "a third of it to the threshold",
    "the threshold to three times it",
    "over three times the threshold",
)
COUNTS = (1.0, 10.0, 100.0, 1000.0)
# Even steps of the cividis map (Nunez, Anderton & Renslow 2018, PLoS ONE 13:e0199239),
# which keep their order for colour-blind eyes and in grey.
RAMP = ("#00204d", "#414d6b", "#7c7b78", "#bcae6c", "#ffea46")
# How the list can be ordered, highest or newest first.
ORDERS: dict[str, Callable[["BlockLine"], float]] = {
    "density": lambda line: -1.0 if line.median is None else line.median,
    "chance": lambda line: -1.0 if line.chance_above is None else line.chance_above,
    "round": lambda line: line.day_number,
}
# Between this chance and the threshold's certainty it is not settled: hatched.
DOUBT_FROM = 0.20


@dataclass(frozen=True, slots=True)
class BlockLine:
    """One block in the list, with what the map needs of it."""

    block: Block
    words: str
    chance: str
    chance_above: float | None
    collected_on: str
    alert: StandingAlert | None
    density: Density | None
    threshold: ThresholdInForce | None
    map_class: int | None
    doubtful: bool

    @property
    def median(self) -> float | None:
        """The density's median."""
        return self.density.median if self.density else None

    @property
    def day_number(self) -> int:
        """The round's day, for putting lines in order; 0 without one."""
        return self.density.round.collected_on.toordinal() if self.density else 0

    def for_map(self) -> dict[str, Any]:
        """Give the block's state on the map."""
        return {
            "uuid": str(self.block.uuid),
            "class": self.map_class,
            "doubtful": self.doubtful,
            "label": f"{self.block.name}: {self.words}",
        }


def block_lines(
    blocks: Sequence[Block],
    densities: Mapping[int, Density],
    thresholds: Sequence[ThresholdInForce],
    alerts: Sequence[StandingAlert],
) -> list[BlockLine]:
    """Put each block beside its newest density, its threshold and its alert."""
    by_block: dict[int, list[ThresholdInForce]] = {}
    for one in thresholds:
        by_block.setdefault(one.block_id, []).append(one)
    alert_of = {alert.block_id: alert for alert in reversed(alerts)}
    return [
        _line(
            block,
            densities.get(block.pk),
            by_block.get(block.pk, []),
            alert_of.get(block.pk),
        )
        for block in blocks
    ]


def in_order(lines: Iterable[BlockLine], order: str) -> list[BlockLine]:
    """Put lines in one of ORDERS; equal ones stay by farm and name, unknown ones last.

    Farm and name is the order in which they come, and that of an unknown word.
    """
    key = ORDERS.get(order)
    return sorted(lines, key=key, reverse=True) if key else list(lines)


def _line(
    block: Block,
    density: Density | None,
    thresholds: Sequence[ThresholdInForce],
    alert: StandingAlert | None,
) -> BlockLine:
    if density is None or density.median is None:
        words = density_words(density) if density else "not counted yet"
        return BlockLine(
            block, words, "", None, "", alert, density, None, None, doubtful=False
        )
    threshold = threshold_for(density, thresholds)
    chance = chance_above(density, threshold.level) if threshold else None
    doubtful = (
        chance is not None
        and threshold is not None
        and DOUBT_FROM <= chance < threshold.certainty
    )
    above = ""
    if chance is not None and threshold is not None:
        above = f"{in_hundred(chance)} above {stated(threshold.level)}"
    return BlockLine(
        block=block,
        words=density_words(density),
        chance=above,
        chance_above=chance,
        collected_on=day(density.round.collected_on),
        alert=alert,
        density=density,
        threshold=threshold,
        map_class=_class_of(density.median, threshold),
        doubtful=doubtful,
    )


def _class_of(median: float, threshold: ThresholdInForce | None) -> int:
    breaks = (
        [share * threshold.level for share in SHARES]
        if threshold and threshold.level > 0
        else COUNTS
    )
    return sum(median >= edge for edge in breaks)


def legend(lines: Iterable[BlockLine], tissue: str) -> list[dict[str, str]]:
    """Give the classes' colours with their meaning in words."""
    coloured = [line for line in lines if line.map_class is not None]
    with_one = any(line.threshold for line in coloured)
    without = not with_one or not all(line.threshold for line in coloured)
    counts = _count_words(tissue)
    if with_one and without:
        words = [
            f"{share} (without one: {count})"
            for share, count in zip(SHARE_WORDS, counts, strict=True)
        ]
    else:
        words = list(SHARE_WORDS) if with_one else counts
    return [
        {"colour": colour, "words": word}
        for colour, word in zip(RAMP, words, strict=True)
    ]


def _count_words(tissue: str) -> list[str]:
    edges = [f"{edge:,.0f}" for edge in COUNTS]
    between = [f"{low} to {high}" for low, high in pairwise(edges)]
    return [f"under {edges[0]} per {tissue}", *between, f"over {edges[-1]}"]
