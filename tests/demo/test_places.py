"""The demo's parcels: sound, apart from each other, and shaped by the land."""

import json
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from pyproj import Geod
from shapely.geometry import MultiPolygon, Polygon, shape

from deploy.demo.parcels import to_degrees, vines_along_rows
from deploy.demo.places import (
    BLOCKS,
    FARM_NAMES,
    HILLSIDES,
    blocks_geojson,
    parcels_m,
)

FIXTURE = Path(__file__).resolve().parents[2] / "fixtures" / "demo" / "blocks.geojson"
# GeographicLib's geodesics, through pyproj: independent of our own plane.
GEOD = Geod(ellps="WGS84")


@pytest.fixture(scope="module")
def features() -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(blocks_geojson())["features"]
    return found


@pytest.fixture(scope="module")
def geometries(features: list[dict[str, Any]]) -> list[MultiPolygon]:
    return [shape(feature["geometry"]) for feature in features]


def test_three_farms_and_eighteen_blocks_with_names_of_their_own() -> None:
    assert {block.farm for block in BLOCKS} == set(FARM_NAMES)
    assert len(FARM_NAMES) == 3
    assert len({block.name for block in BLOCKS}) == 18
    assert len({block.code for block in BLOCKS}) == 18


def test_parcels_are_valid_and_between_0_4_and_6_hectares(
    geometries: list[MultiPolygon],
) -> None:
    for block, geometry in zip(BLOCKS, geometries, strict=True):
        assert geometry.is_valid, block.name
        hectares = abs(GEOD.geometry_area_perimeter(geometry)[0]) / 10_000
        assert 0.4 <= hectares <= 6.0, block.name


def test_parcels_do_not_touch_each_other(geometries: list[MultiPolygon]) -> None:
    for first, second in combinations(geometries, 2):
        assert first.disjoint(second)


def test_parcels_are_not_rectangles(geometries: list[MultiPolygon]) -> None:
    for block, geometry in zip(BLOCKS, geometries, strict=True):
        filled = geometry.area / geometry.minimum_rotated_rectangle.area
        assert filled < 0.93, block.name


def test_one_block_has_two_parcels_and_one_a_hole(
    geometries: list[MultiPolygon],
) -> None:
    parcels = [geometry.geoms for geometry in geometries]
    assert sorted(len(parts) for parts in parcels) == [1] * 17 + [2]
    assert sum(len(part.interiors) for parts in parcels for part in parts) == 1


def test_outer_rings_run_anticlockwise_and_holes_clockwise(
    geometries: list[MultiPolygon],
) -> None:
    """As RFC 7946, section 3.1.6, asks."""
    for geometry in geometries:
        for parcel in geometry.geoms:
            assert parcel.exterior.is_ccw
            assert not any(hole.is_ccw for hole in parcel.interiors)


@pytest.mark.parametrize("farm", FARM_NAMES)
def test_the_plane_keeps_distances(farm: str) -> None:
    """Within a part in a thousand over the size of a farm."""
    points = np.array([[0.0, 0.0], [700.0, 250.0], [-300.0, 520.0]])
    degrees = to_degrees(HILLSIDES[farm], points)
    for one, other in combinations(range(3), 2):
        metres = GEOD.inv(*degrees[one], *degrees[other])[2]
        expected = float(np.hypot(*(points[one] - points[other])))
        assert metres == pytest.approx(expected, rel=1e-3)


def test_rows_follow_the_contour_or_run_down_the_slope() -> None:
    for block in BLOCKS:
        ring = Polygon(parcels_m(block)[0][0]).minimum_rotated_rectangle
        corners = np.array(ring.exterior.coords)
        sides = np.diff(corners, axis=0)
        longest = sides[np.argmax(np.hypot(*sides.T))]
        azimuth = float(np.degrees(np.arctan2(longest[0], longest[1]))) % 180
        turn = abs((block.row_direction_deg - azimuth + 90) % 180 - 90)
        if len(block.outlines) == 1:
            assert (turn < 30) == block.rows_along_contour, block.name


def test_bags_hang_on_vines_inside_the_block() -> None:
    for index, block in enumerate(BLOCKS):
        rings = [ring for parcel in parcels_m(block) for ring in parcel]
        vines = vines_along_rows(
            rings,
            row_direction_deg=block.row_direction_deg,
            spacing_m=(block.row_spacing_m, block.vine_spacing_m),
            count=14,
            rng=np.random.default_rng(index),
        )
        area = shapely.union_all(
            [Polygon(parcel[0], parcel[1:]) for parcel in parcels_m(block)]
        )
        assert shapely.contains_xy(area, *vines.T).all(), block.name
        angle = np.radians(90 - block.row_direction_deg)
        rows = (vines @ [-np.sin(angle), np.cos(angle)]) / block.row_spacing_m
        assert np.allclose(rows % 1, 0.5, atol=1e-6), block.name


def test_the_fixture_is_what_the_generator_writes() -> None:
    assert FIXTURE.read_text(encoding="utf-8") == blocks_geojson()
