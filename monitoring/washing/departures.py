"""Set how a bag was washed against how it is to be washed."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple, Protocol

from monitoring.models import WashProtocol


class Measure(NamedTuple):
    """One figure of a wash, as it is said: “20 s shaking”."""

    name: str
    unit: str
    what: str


MEASURES = (
    Measure("alcohol_percent", "% alcohol", ""),
    Measure("volume_ml", "ml", "in the bag"),
    Measure("shake_s", "s", "shaking"),
    Measure("piece_cm", "cm", "pieces"),
    Measure("rinses", "", "rinses"),
)
OF_NAME = {one.name: one for one in MEASURES}


class Washed(Protocol):
    """Whatever tells the strength, the volume and the shaking of a wash."""

    alcohol_percent: Any
    volume_ml: Any
    shake_s: Any


@dataclass(frozen=True, slots=True)
class Departure:
    """A figure of a wash outside what the protocol asks."""

    name: str
    seen: float
    low: float
    high: float

    @property
    def words(self) -> str:
        """Say it: “20 s shaking, not 30”."""
        one = OF_NAME[self.name]
        seen = " ".join(filter(None, [f"{self.seen:g}", one.unit, one.what]))
        return f"{seen}, not {span(self.low, self.high)}"

    def kept(self) -> dict[str, Any]:
        """Give it as it is kept with a batch."""
        return asdict(self)


def span(low: float, high: float) -> str:
    """Write what is asked: one value, or a range."""
    return f"{low:g}" if low == high else f"{low:g} to {high:g}"


def departures_kept(rows: list[dict[str, Any]]) -> list[Departure]:
    """Give the departures that a batch keeps."""
    return [Departure(**row) for row in rows]


def departures_of(washed: Washed, protocol: WashProtocol) -> list[Departure]:
    """List what departs; what nobody wrote down does not."""
    return list(_departing(washed, protocol))


def _departing(washed: Washed, protocol: WashProtocol) -> Iterator[Departure]:
    for name, (low, high) in asked(protocol).items():
        seen = getattr(washed, name, None)
        if seen is not None and not low <= seen <= high:
            yield Departure(name, seen, low, high)


def asked(protocol: WashProtocol) -> dict[str, tuple[float, float]]:
    """Give the lowest and highest that a protocol asks, by the figure's name."""
    limits: dict[str, tuple[float, float]] = {
        "alcohol_percent": (
            protocol.alcohol_low_percent,
            protocol.alcohol_high_percent,
        ),
        "volume_ml": (protocol.volume_low_ml, protocol.volume_high_ml),
        "shake_s": (protocol.shake_low_s, protocol.shake_high_s),
        "piece_cm": (protocol.piece_low_cm, protocol.piece_high_cm),
    }
    if protocol.rinses is not None:
        limits["rinses"] = (protocol.rinses, protocol.rinses)
    return limits
