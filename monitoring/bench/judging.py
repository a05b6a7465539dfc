"""From a folded reading to the counts it comes to, and what is doubtful about them."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any, Final

from monitoring.estimation.dish import DishGrid
from monitoring.estimation.dish_sampling import (
    FEWEST_PILOT,
    PILOT_CELLS,
    TwoStageTotal,
    cell_order,
    two_stage_total,
)

USUAL_CV: Final = 0.15
MOST_NAMED: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What a reading says of one organism in its dish.

    organism: its key at the page. count: None where it was not countable. cells: named
    ones with their counts, the pilot first; a count of None where only rows were read.
    pilot, animals: where the dish was counted in two stages, how many of the cells were
    the first one, and the total by both.
    """

    organism: str
    scope: str
    count: int | None
    cells: tuple[tuple[str, int | None], ...] = ()
    proportion: float = 1.0
    pilot: int | None = None
    animals: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Give it as it is kept with the reading."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How the cells of a reading were drawn: seed, first stage, wanted precision."""

    seed: int = 0
    pilot: int = PILOT_CELLS
    cv: float = USUAL_CV


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a person has to look before a reading counts; `code` says which choices."""

    code: str
    words: str


@dataclass(frozen=True, slots=True)
class Judged:
    """The counts of a reading, and the doubts about them."""

    counted: list[Counted]
    doubts: list[Doubt]


def judge(
    folded: Mapping[str, Any], *, grid: DishGrid, names: Mapping[str, str]
) -> Judged:
    """Say what a finished reading's fold comes to on its dish.

    names: of the organisms that the group has, by their key at the page.
    """
    counted: list[Counted] = []
    doubts: list[Doubt] = []
    strange = _strange_places(folded, grid)
    if strange:
        doubts.append(Doubt("not-on-dish", strange))
    unknown = 0
    for key, organism in folded["organisms"].items():
        if key not in names:
            unknown += 1
            continue
        found = _counted(key, organism, folded, grid)
        if found is not None:
            counted.append(found)
    doubts += _doubts(folded, counted, names, unknown)
    strayed = _not_drawn(folded, grid)
    if strayed and any(one.cells and not _by_rows(one) for one in counted):
        doubts.append(Doubt("not-drawn", strayed))
    unread = _unread_rows(folded, grid)
    if unread and any(_by_rows(one) for one in counted):
        doubts.append(Doubt("unread-rows", unread))
    return Judged(counted, doubts)


def _by_rows(one: Counted) -> bool:
    return bool(one.cells) and one.cells[0][1] is None


def _doubts(
    folded: Mapping[str, Any],
    counted: list[Counted],
    names: Mapping[str, str],
    unknown: int,
) -> list[Doubt]:
    doubts = []
    if unknown:
        doubts.append(
            Doubt(
                "unknown-organism",
                f"{_organisms(unknown)} counted at the bench that this group does not"
                " count. Published without, the presses are kept with the reading.",
            )
        )
    differ = _totals_differ(folded, names)
    if differ:
        doubts.append(Doubt("totals-differ", differ))
    if not counted:
        doubts.append(
            Doubt(
                "nothing-counted",
                "It was finished without a cell or row read to its end, so it says"
                " nothing: not even that there is no animal.",
            )
        )
    return doubts


def _organisms(number: int) -> str:
    return "An organism was" if number == 1 else f"{number} organisms were"


def _totals_differ(folded: Mapping[str, Any], names: Mapping[str, str]) -> str:
    """Tell where the totals that the page showed are not what its events come to."""
    totals = (folded["finished"] or {}).get("totals") or {}
    told = []
    for key, organism in folded["organisms"].items():
        shown = totals.get(key, 0)
        if organism["uncountable"] or shown == organism["count"]:
            continue
        name = names.get(key, "an organism not of this group")
        told.append(f"{name}: {shown} on the page, {organism['count']} by its presses")
    if not told:
        return ""
    return (
        f"The totals on the page are not what its presses come to ({'; '.join(told)})."
        " The page may have been changed or have a fault: better count again."
    )


def _counted(
    key: str, organism: Mapping[str, Any], folded: Mapping[str, Any], grid: DishGrid
) -> Counted | None:
    """Give an organism's count; None where nothing was read for it."""
    if organism["uncountable"]:
        return Counted(organism=key, scope="whole", count=None)
    areas = dict(zip(grid.cell_names, map(float, grid.cell_areas_mm2), strict=True))
    if organism["scope"] == "whole":
        return _in_rows(key, organism["count"], folded, areas)
    read = {place for place in folded["read"]["cells"] if place in areas}
    if not read:
        return None
    plan = plan_of(folded["started"])
    # The pilot stands first, whatever way somebody went through the cells.
    order = cell_order(grid.cell_names, seed=plan.seed)
    places = organism["places"]
    cells = {name: int(places.get(name, 0)) for name in order if name in read}
    total = None
    # Two stages are of cells drawn by chance; others speak by their area alone.
    if folded["called"] == len(cells) and not _not_drawn(folded, grid):
        total = two_stages(cells, plan=plan, grid=grid)
    return Counted(
        organism=key,
        scope="named_cells",
        count=sum(cells.values()),
        cells=tuple(cells.items()),
        proportion=min(sum(areas[name] for name in cells) / grid.area_mm2, 1.0),
        pilot=None if total is None else plan.pilot,
        # Not fewer than were seen, to the last bit.
        animals=None if total is None else max(total.total, float(sum(cells.values()))),
    )


def two_stages(
    cells: Mapping[str, int], *, plan: Plan, grid: DishGrid
) -> TwoStageTotal | None:
    """Estimate a dish from its cells, the pilot first; None where they were not two."""
    if not FEWEST_PILOT <= plan.pilot < len(cells) < len(grid.cell_names):
        return None
    return two_stage_total(
        cells, grid=grid, pilot=plan.pilot, cv=plan.cv, seed=plan.seed
    )


def plan_of(start: Mapping[str, Any] | None) -> Plan:
    """Read the plan out of a reading's start; what makes no sense is as usual."""
    given = start or {}
    cv = given.get("wanted_cv")
    usable = isinstance(cv, int | float) and isfinite(cv) and cv > 0
    return Plan(
        seed=abs(_whole(given.get("seed"), 0)),
        pilot=_whole(given.get("pilot"), PILOT_CELLS),
        cv=float(cv) if usable and cv is not None else USUAL_CV,
    )


def _whole(value: object, otherwise: int) -> int:
    is_number = isinstance(value, int) and not isinstance(value, bool)
    return int(value) if is_number and isinstance(value, int) else otherwise


def row_of(cell: str) -> int:
    """Give the number of the row that a cell's name ends with."""
    return int(cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ"))


def rows_of(grid: DishGrid) -> dict[str, list[str]]:
    """Give the cells of each row, by the row's place on the page (“row 7”)."""
    rows: dict[str, list[str]] = {}
    for name in grid.cell_names:
        rows.setdefault(f"row {row_of(name)}", []).append(name)
    return rows


def _in_rows(
    key: str, count: int, folded: Mapping[str, Any], areas: Mapping[str, float]
) -> Counted | None:
    read = set(folded["read"]["whole"])
    cells = [name for name in areas if f"row {row_of(name)}" in read]
    if not cells:
        return None
    if len(cells) == len(areas):
        return Counted(organism=key, scope="whole", count=count)
    share = sum(areas[name] for name in cells) / sum(areas.values())
    return Counted(
        organism=key,
        scope="named_cells",
        count=count,
        cells=tuple((name, None) for name in cells),
        proportion=min(share, 1.0),
    )


def _not_drawn(folded: Mapping[str, Any], grid: DishGrid) -> str:
    """Tell where the cells read are not those that chance put first.

    All cells called for are read row by row, for speed; one who stops among them has
    read one side of the dish. Cells that could not be read are passed over.
    """
    skipped = folded["skipped"]["cells"]
    read = {place for place in folded["read"]["cells"] if place in grid.cell_names}
    order = cell_order(grid.cell_names, seed=plan_of(folded["started"]).seed)
    drawn = [name for name in order if name not in skipped][: len(read)]
    if read == set(drawn):
        return ""
    why = (folded["finished"] or {}).get("unread_why")
    because = f" ({why})" if why else ""
    return (
        f"The {len(read)} cells read are not the first that were drawn by chance, as"
        f" where all were to be read and somebody stopped{because}. Published, they"
        " stand for the dish by their area; where animals gather at one side of a dish"
        " that misleads."
    )


def _unread_rows(folded: Mapping[str, Any], grid: DishGrid) -> str:
    """Tell which rows of a dish that was to be read whole were left out."""
    read = set(folded["read"]["whole"])
    skipped = folded["skipped"]["whole"]
    left = [row for row in rows_of(grid) if row not in read]
    if not left or not read:
        return ""
    why = [f"{row}: {skipped[row]}" for row in left if skipped.get(row)]
    finished = (folded["finished"] or {}).get("unread_why")
    told = "; ".join([*why, *([finished] if finished else [])])
    because = f" ({told})" if told else ""
    return (
        f"The dish was to be read whole, and {_named(left)} left out{because}. If it is"
        " published, the rows read stand for the dish by their area; where animals"
        " gather at one side of a dish, that misleads."
    )


def _named(rows: list[str]) -> str:
    if len(rows) > MOST_NAMED:
        return f"{len(rows)} of its rows were"
    if len(rows) == 1:
        return f"{rows[0]} was"
    numbers = [row.removeprefix("row ") for row in rows]
    return f"rows {', '.join(numbers[:-1])} and {numbers[-1]} were"


def _strange_places(folded: Mapping[str, Any], grid: DishGrid) -> str:
    """Tell which places read are not on the dish."""
    cells, rows = set(grid.cell_names), set(rows_of(grid))
    strange = [place for place in folded["read"]["cells"] if place not in cells]
    strange += [place for place in folded["read"]["whole"] if place not in rows]
    if not strange:
        return ""
    more = f" and {len(strange) - MOST_NAMED} more" if len(strange) > MOST_NAMED else ""
    return (
        f"It read {', '.join(strange[:MOST_NAMED])}{more}, and the dish named has no"
        " such place. It may have been another dish."
    )
