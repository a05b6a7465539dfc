"""The demo's thresholds: set by its growers, that is to say invented.

No action threshold per leaf is published for rust mites on vines (none known to us), so
nobody should take these for their own.
"""

from dataclasses import dataclass

from deploy.demo.almanac import LAST_SEASON, THIS_SEASON, Tissue


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoThreshold:
    """A threshold on a density, or on predators per prey where `predator` is set.

    Without farm and block it holds for the group. The season is in season days;
    `set_in` and `set_day` say when the growers set it.
    """

    organism: str
    tissue: Tissue
    level: float
    season_days: tuple[int, int]
    why: str
    set_in: int
    set_day: int
    farm: str = ""
    block: str = ""
    predator: str = ""


LEAF_SEASON = (145, 290)
SHOOT_SEASON = (105, 144)
# The last days of those seasons; the day after each, what stood has ended.
SEASON_ENDS = ((LAST_SEASON, 144), (LAST_SEASON, 290), (THIS_SEASON, 144))

THRESHOLDS = (
    DemoThreshold(
        organism="rust_mites",
        tissue="leaf",
        level=200.0,
        season_days=LEAF_SEASON,
        why="what the group's growers agreed on",
        set_in=LAST_SEASON,
        set_day=92,
    ),
    DemoThreshold(
        organism="rust_mites",
        tissue="leaf",
        level=150.0,
        season_days=LEAF_SEASON,
        why="the warmest slopes; numbers climb fast there",
        set_in=THIS_SEASON,
        set_day=147,
        farm="Cindry",
    ),
    DemoThreshold(
        organism="rust_mites",
        tissue="leaf",
        level=100.0,
        season_days=LEAF_SEASON,
        why="young vines",
        set_in=LAST_SEASON,
        set_day=150,
        farm="Hesmoor",
        block="Nettle Top",
    ),
    DemoThreshold(
        organism="rust_mites",
        tissue="shoot",
        level=30.0,
        season_days=SHOOT_SEASON,
        why="stunted shoots in earlier springs",
        set_in=LAST_SEASON,
        set_day=92,
    ),
    DemoThreshold(
        organism="rust_mites",
        tissue="leaf",
        level=0.002,
        season_days=LEAF_SEASON,
        why="last summer one predator to 500 rust mites was too few",
        set_in=THIS_SEASON,
        set_day=147,
        farm="Hesmoor",
        predator="predatory_mites",
    ),
)


def leaf_level(*, farm: str, block: str) -> float:
    """Give the level for rust mites on a block's leaves; the nearest scope wins."""
    levels = {
        (one.farm, one.block): one.level
        for one in THRESHOLDS
        if one.tissue == "leaf" and not one.predator
    }
    group = levels["", ""]
    return levels.get((farm, block), levels.get((farm, ""), group))
