"""Sample points: inside, away from the edge, on rows, spread evenly, repeatable."""

from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely import affinity

from monitoring.planning.drawing import Draw, draw_points, share_out, taken_again
from monitoring.planning.errors import PlanError
from monitoring.planning.ground import Ground, Rows
from monitoring.planning.rows import RowPlace, row_places, sides_of

GEOD = Geod(ellps="WGS84")
# About 79 by 111 metres at 45 degrees north, for each thousandth of a degree.
SQUARE = "POLYGON((10 45,10.003 45,10.003 45.002,10 45.002,10 45))"
HOLED = (
    "POLYGON((10 45,10.003 45,10.003 45.002,10 45.002,10 45),"
    "(10.001 45.0005,10.001 45.0015,10.002 45.0015,10.002 45.0005,10.001 45.0005))"
)
PARTS = (
    "MULTIPOLYGON(((10 45,10.001 45,10.001 45.002,10 45.002,10 45)),"
    "((10.004 45.001,10.006 45.001,10.006 45.002,10.004 45.002,10.004 45.001)))"
)
# A strip 4 m wide, turned by 30 degrees.
SLIVER = affinity.rotate(shapely.box(10, 45, 10.004, 45.000036), 30).wkt
BOW_TIE = "POLYGON((10 45,10.002 45.002,10.002 45,10 45.002,10 45))"
SHAPES = {
    "square": (SQUARE, 8.0),
    "holed": (HOLED, 8.0),
    "parts": (PARTS, 8.0),
    "sliver": (SLIVER, 1.0),
    "bow tie": (BOW_TIE, 5.0),
}
ROWS = Rows(direction_deg=35.0, row_spacing_m=2.5, vine_spacing_m=1.2)
STRATA = [("low", 6), ("mid", 6), ("upper", 6)]


def _ground(wkt: str, buffer_m: float, rows: Rows | None = None) -> Ground:
    return Ground(shapely.to_wkb(shapely.from_wkt(wkt)), buffer_m=buffer_m, rows=rows)


def _metres_to_edge(outline: Any, longitude: float, latitude: float) -> float:
    """Measure on the ellipsoid, by another way than the one tested."""
    edge = shapely.segmentize(outline.boundary, 1e-6)
    places = shapely.get_coordinates(edge)
    near = np.argsort(np.hypot(*(places - (longitude, latitude)).T))[:400]
    lon, lat = places[near].T
    here = np.full(len(near), longitude), np.full(len(near), latitude)
    return float(np.min(GEOD.inv(*here, lon, lat)[2]))


def _drawn(ground: Ground, seed: int = 1, method: str = "balanced") -> Draw:
    return draw_points(ground, STRATA, method=method, seed=seed)


@pytest.mark.parametrize("rows", [None, ROWS], ids=["free", "rows"])
@pytest.mark.parametrize("method", ["balanced", "random"])
@pytest.mark.parametrize("shape", SHAPES)
def test_points_lie_inside_and_away_from_the_edge(
    shape: str, method: str, rows: Rows | None
) -> None:
    wkt, buffer_m = SHAPES[shape]
    outline = shapely.make_valid(shapely.from_wkt(wkt))
    drawn = _drawn(_ground(wkt, buffer_m, rows), method=method)
    assert len(drawn.points) == 18
    for one in drawn.points:
        assert outline.contains(shapely.Point(one.longitude, one.latitude))
        away = _metres_to_edge(outline, one.longitude, one.latitude)
        assert away >= buffer_m - 0.2


def test_parts_are_sampled_by_their_area() -> None:
    ground, east = _ground(PARTS, 0.0), 0
    for seed in range(40):
        east += sum(one.longitude > 10.003 for one in _drawn(ground, seed).points)
    # The two parts are of the same area, but for a hundred-thousandth.
    assert east / (40 * 18) == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize("rows", [None, ROWS], ids=["free", "rows"])
@pytest.mark.parametrize("shape", ["square", "holed", "parts"])
def test_balanced_draws_beat_plain_random_ones(shape: str, rows: Rows | None) -> None:
    # Stevens & Olsen 2004: zeta, smaller is more even.
    ground = _ground(*SHAPES[shape], rows)
    zeta = {
        method: np.mean(
            [_drawn(ground, seed, method).balance or np.nan for seed in range(15)]
        )
        for method in ("balanced", "random")
    }
    assert zeta["balanced"] < 0.6 * zeta["random"]


def test_each_canopy_position_is_spread_evenly() -> None:
    ground = _ground(SQUARE, 5.0)
    for seed in range(10):
        points = _drawn(ground, seed).points
        for position, number in STRATA:
            mine = [one for one in points if one.position == position]
            assert len(mine) == number
            # None of six points in a row of a balanced draw leaves out a half.
            assert {one.longitude > 10.0015 for one in mine} == {True, False}


def test_the_same_seed_draws_the_same_points_and_walk() -> None:
    first, again = (_drawn(_ground(HOLED, 8.0, ROWS), 5) for _ in range(2))
    assert first.points == again.points
    assert first.points != _drawn(_ground(HOLED, 8.0, ROWS), 6).points


def test_points_stand_on_rows_by_direction_and_spacing() -> None:
    ground = _ground(SQUARE, 5.0, ROWS)
    drawn = _drawn(ground, 3)
    # On the ellipsoid: from each point to the first, split along and across the rows.
    first = drawn.points[0]
    for one in drawn.points[1:]:
        azimuth, _, metres = GEOD.inv(
            first.longitude, first.latitude, one.longitude, one.latitude
        )
        turned = np.radians(azimuth - ROWS.direction_deg)
        across, along = metres * np.sin(turned), metres * np.cos(turned)
        assert abs(across / 2.5 - round(across / 2.5)) < 0.02
        assert abs(along / 1.2 - round(along / 1.2)) < 0.04


def test_all_places_of_a_vine_share_its_fate() -> None:
    """So that vines at the edge have the same chance as others, and none lies out."""
    ground = _ground(HOLED, 8.0, ROWS)
    rng = np.random.default_rng(1)
    moved, may_be = ground.places(ground.box.fill(rng.random((200_000, 2))))
    inside = shapely.contains_xy(ground.allowed, *moved.T)
    assert (may_be == inside).all()
    chosen = moved[may_be]
    _, times = np.unique(np.round(chosen, 3), axis=0, return_counts=True)
    vines = ground.vines(10**6)
    assert vines is not None
    assert len(times) == pytest.approx(vines, rel=0.01)
    # Each is hit by chance alone: a Poisson's variance is its mean.
    assert np.var(times) == pytest.approx(np.mean(times), rel=0.1)


def test_rows_are_counted_and_walked_in_their_order() -> None:
    ground = _ground(SQUARE, 5.0, Rows(0.0, 2.5, 1.2))
    points = _drawn(ground, 2).points
    lonlat = np.array([[one.longitude, one.latitude] for one in points])
    places = row_places(ground, lonlat)
    assert [one.row for one in places] == sorted(one.row for one in places)
    sides = sides_of(Rows(0.0, 2.5, 1.2))
    assert (sides.rows_from, sides.metres_from) == ("west", "south")
    for point, place in zip(points, places, strict=True):
        east = GEOD.inv(10, 45.001, point.longitude, 45.001)[2]
        north = GEOD.inv(10, 45, 10, point.latitude)[2]
        assert (place.row - 0.5) * 2.5 == pytest.approx(east, abs=0.1)
        assert place.metres_in == pytest.approx(north, abs=0.1)


def test_metres_are_counted_from_where_the_row_enters_its_part() -> None:
    ground = _ground(HOLED, 0.0, Rows(0.0, 2.5, 1.2))
    (place,) = row_places(ground, np.array([[10.0015, 45.0017]]))
    assert isinstance(place, RowPlace)
    expected = GEOD.inv(10.0015, 45.0015, 10.0015, 45.0017)[2]
    assert place.metres_in == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    ("direction", "rows_from", "metres_from"),
    [
        (90, "north", "west"),
        (45, "north-west", "south-west"),
        (135, "north-east", "north-west"),
    ],
)
def test_sides_follow_the_rows(
    direction: float, rows_from: str, metres_from: str
) -> None:
    sides = sides_of(Rows(direction, 2.5, 1.2))
    assert (sides.rows_from, sides.metres_from) == (rows_from, metres_from)


def test_a_distance_larger_than_the_block_is_refused_in_words() -> None:
    with pytest.raises(PlanError) as refused:
        _ground(SQUARE, 200.0)
    assert refused.value.field == "buffer_m"
    # Half of the shorter side, 222.2 m by WGS 84, is 111.1 m.
    assert "111.1 m" in refused.value.sentence
    with pytest.raises(PlanError, match="Write 0"):
        _ground(affinity.scale(shapely.from_wkt(SLIVER), 1, 0.01).wkt, 3.0)


def test_hardly_any_ground_and_parts_too_far_apart_are_refused_in_words() -> None:
    with pytest.raises(PlanError, match="encloses next to nothing"):
        _ground(shapely.box(10, 45, 10.000001, 45.000001).wkt, 0.0)
    far = shapely.MultiPolygon(
        [shapely.box(10, 45, 10.0005, 45.0005), shapely.box(11, 46, 11.0005, 46.0005)]
    )
    with pytest.raises(PlanError, match="parts lie so far apart"):
        _drawn(_ground(far.wkt, 2.0, Rows(80.0, 2.5, 1.2)))


def test_more_bags_than_vines_are_refused_in_words() -> None:
    small = "POLYGON((10 45,10.0001 45,10.0001 45.00005,10 45.00005,10 45))"
    ground = _ground(small, 0.0, Rows(0.0, 2.0, 1.5))
    with pytest.raises(PlanError, match="vines stand where") as refused:
        _drawn(ground)
    assert refused.value.field == "bags"


def test_the_same_vines_are_refused_where_the_block_has_shrunk() -> None:
    ground = _ground(SQUARE, 5.0)
    points = _drawn(ground).points
    again = taken_again(ground, points)
    assert again.points == points
    half = _ground("POLYGON((10 45,10.0015 45,10.0015 45.002,10 45.002,10 45))", 0.0)
    with pytest.raises(PlanError, match="outside the block's present boundary"):
        taken_again(half, points)


@pytest.mark.parametrize(
    ("count", "positions", "weights", "shared"),
    [
        (15, ["low", "mid", "upper"], {}, [5, 5, 5]),
        (16, ["low", "mid", "upper"], {}, [6, 5, 5]),
        (
            15,
            ["low", "mid", "upper"],
            {"low": 0.2, "mid": 0.3, "upper": 0.5},
            [3, 5, 7],
        ),
        (15, ["low", "upper"], {"low": 0.0, "upper": 1.0}, [2, 13]),
        (15, ["low", "mid"], {"low": 1.0}, [8, 7]),
        (6, ["low", "mid"], {"low": 0.0, "mid": 0.0}, [3, 3]),
        (5, ["low", "mid", "upper"], {}, [2, 2, 2]),
        (9, [], {}, [9]),
    ],
)
def test_bags_are_shared_out(
    count: int, positions: list[str], weights: dict[str, float], shared: list[int]
) -> None:
    assert [number for _, number in share_out(count, positions, weights)] == shared
