"""What the pages of a planned round show: words, a map, and the points by row."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitoring.models import RoundPlan, SamplePoint
from monitoring.pages.plan_map import PlanMap, plan_map
from monitoring.planning.drawing import balance_of
from monitoring.planning.ground import Ground
from monitoring.planning.proposing import Proposal, rows_of
from monitoring.planning.rows import RowPlace, Sides, row_places, sides_of
from monitoring.words import bags, figure, leaves

MINUTES_PER_HOUR = 60
METRES_PER_KM = 1000.0


@dataclass(frozen=True, slots=True)
class PointLine:
    """One line of the walk."""

    point: SamplePoint
    place: RowPlace | None


@dataclass(frozen=True, slots=True)
class PlanPage:
    """A stored plan as its page and its field sheet show it."""

    plan: RoundPlan
    lines: list[PointLine]
    map: PlanMap
    sides: Sides | None
    walk: str
    balance: str

    @property
    def amount(self) -> str:
        """How much is taken, in words."""
        return amount_words(self.plan.tissue, self.plan.bags)

    @property
    def bench(self) -> str:
        """How long it keeps the bench, in words."""
        return duration(self.plan.bench_minutes)


@dataclass(frozen=True, slots=True)
class ProposalPart:
    """A round as it would be planned."""

    proposal: Proposal
    map: PlanMap
    sentence: str
    walk: str
    balance: str


def amount_words(tissue: str, number: int) -> str:
    """Write “14 leaves”, or “14 bags” of anything else."""
    return leaves(number) if tissue == "leaf" else f"{bags(number)} of {tissue}s"


def duration(minutes: float) -> str:
    """Write minutes as hours and minutes, to the nearest five from an hour on."""
    if minutes < MINUTES_PER_HOUR:
        return f"{minutes:.0f} minutes"
    hours, rest = divmod(round(minutes / 5) * 5, MINUTES_PER_HOUR)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def walk_words(metres: float) -> str:
    """Write a walk's length to two digits."""
    if metres < METRES_PER_KM:
        return f"{figure(metres)} m"
    return f"{figure(metres / METRES_PER_KM)} km"


def balance_words(balance: float | None) -> str:
    """Say how evenly points are spread; one, or a thin block, tells nothing."""
    if balance is None:
        return "cannot be told here"
    return f"{balance:.2f} (0 is perfect; plain random points come to about 0.3 to 0.5)"


def proposal_part(proposal: Proposal) -> ProposalPart:
    """Put a proposal in words and draw it."""
    what, drawn = proposal.what, proposal.drawn
    points = [(one, one.longitude, one.latitude) for one in drawn.points]
    amount = amount_words(what.tissue, len(points))
    return ProposalPart(
        proposal=proposal,
        map=plan_map(proposal.where.boundary.geometry, points),
        sentence=f"{amount[:1].upper()}{amount[1:]} from as many vines, about"
        f" {duration(proposal.bench_minutes)} of the bench.",
        walk=walk_words(drawn.walk_m),
        balance=balance_words(drawn.balance),
    )


def plan_page(plan: RoundPlan, points: Sequence[SamplePoint]) -> PlanPage:
    """Put a stored plan in words and draw it."""
    rows = rows_of(plan)
    # The distance to the edge did its work in the draw; here only metres are needed.
    ground = Ground(bytes(plan.boundary.geometry.wkb), buffer_m=0, rows=rows)
    lonlat = np.array([[one.point.x, one.point.y] for one in points])
    metres = ground.frame(lonlat)
    places = row_places(ground, lonlat) if rows else [None] * len(points)
    steps = np.linalg.norm(np.diff(metres, axis=0), axis=1)
    return PlanPage(
        plan=plan,
        lines=[PointLine(*pair) for pair in zip(points, places, strict=True)],
        map=plan_map(
            plan.boundary.geometry, [(one, one.point.x, one.point.y) for one in points]
        ),
        sides=sides_of(rows) if rows else None,
        walk=walk_words(float(steps.sum())),
        balance=balance_words(balance_of(ground, metres)),
    )
