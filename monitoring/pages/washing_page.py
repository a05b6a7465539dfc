"""How a round's bags were washed: what departed from the protocol, what is unknown."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from monitoring.models import Wash, WashBatch, WashProtocol
from monitoring.queries.washing import in_force
from monitoring.washing.departures import (
    MEASURES,
    Departure,
    asked,
    departures_kept,
    departures_of,
    span,
)

NOTED = ("alcohol_percent", "volume_ml", "shake_s")
LABELS = {
    "alcohol_percent": "Alcohol in the bag, % by volume",
    "volume_ml": "Volume in a bag, ml",
    "shake_s": "Hard shaking, s",
    "piece_cm": "Pieces of tissue, cm",
    "rinses": "Rinses of the pieces",
}
# How common practice says it, where the figures alone do not.
COMMON_WORDS = {
    "alcohol_percent": "1 part of 70 percent alcohol to 1 part of water",
    "piece_cm": "cut to about 2.5",
}


@dataclass(frozen=True, slots=True)
class DepartureLine:
    """One departure with the bags that it befell."""

    words: str
    codes: list[str]
    number: int


@dataclass(frozen=True, slots=True)
class RoundWashing:
    """What a round's page and a density's working say of washing."""

    departures: list[DepartureLine]
    unknown: list[str]
    washes: int
    batches: list[WashBatch] = field(default_factory=list)


def round_washing(
    washes: Sequence[Wash], protocols: Sequence[WashProtocol], collected_on: date
) -> RoundWashing:
    """Gather departures, alike ones together.

    A batch tells what departed when it was entered; what a count sheet alone tells is
    held against the protocol of the day of the wash, or of the visit where no day of
    washing is known.
    """
    lines: dict[tuple[int, str], list[str]] = {}
    unknown, batches = [], {}
    for wash in washes:
        if wash.batch is not None:
            batches[wash.batch.pk] = wash.batch
        elif all(getattr(wash, name) is None for name in NOTED):
            unknown.append(wash.bag.code)
        for one in _departures(wash, protocols, collected_on):
            lines.setdefault((wash.number, one.words), []).append(wash.bag.code)
    return RoundWashing(
        departures=[
            DepartureLine(words, codes, number)
            for (number, words), codes in lines.items()
        ],
        unknown=list(dict.fromkeys(unknown)),
        washes=len(washes),
        batches=list(batches.values()),
    )


def _departures(
    wash: Wash, protocols: Sequence[WashProtocol], collected_on: date
) -> list[Departure]:
    if wash.batch is not None:
        return departures_kept(wash.batch.departures)
    return departures_of(wash, in_force(protocols, wash.washed_on or collected_on))


@dataclass(frozen=True, slots=True)
class AskedLine:
    """One figure of the protocol, as it is shown."""

    label: str
    asked: str
    origin: str


def protocol_lines(protocol: WashProtocol) -> list[AskedLine]:
    """Give what a protocol asks, and where each figure comes from."""
    limits = asked(protocol)
    lines = []
    for one in MEASURES:
        if one.name not in limits:
            lines.append(AskedLine(LABELS[one.name], "not said", ""))
            continue
        origin = protocol.note
        if protocol.is_common_practice:
            words = COMMON_WORDS.get(one.name)
            origin = f"common practice: {words}" if words else "common practice"
        lines.append(AskedLine(LABELS[one.name], span(*limits[one.name]), origin))
    return lines


def batch_lines(batch: WashBatch) -> list[tuple[str, str, str]]:
    """Give each figure of a batch: its label, what was noted, what departs."""
    departed = {one.name: one for one in departures_kept(batch.departures)}
    lines = []
    for one in MEASURES:
        seen = getattr(batch, one.name)
        departure = departed.get(one.name)
        lines.append(
            (
                LABELS[one.name],
                "not noted" if seen is None else f"{seen:g}",
                f"not {span(departure.low, departure.high)}" if departure else "",
            )
        )
    return lines
