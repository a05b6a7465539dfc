"""A plan's files, read back by programs that we did not write."""

import io
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import gpxpy
import pyogrio
import pytest
from django.urls import reverse

from blocks.models import Block
from blocks.tenancy import stating
from monitoring.models import RoundPlan
from tests.builders import World
from tests.tenancy.plan_world import give_plan

pytestmark = pytest.mark.django_db
HOSTILE = 'Ü & <b>"Hill"</b> \x07=1+1'


@pytest.fixture
def plan(world: World) -> Iterator[RoundPlan]:
    with stating(world.group.pk):
        Block.objects.filter(pk=world.block.pk).update(name=HOSTILE)
        world.block.refresh_from_db()
        yield give_plan(world)["plan"]


def _download(world: World, plan: RoundPlan, kind: str) -> bytes:
    url = reverse(f"plan-{kind}", args=[world.slug, plan.uuid])
    answer = world.client("grower").get(url)
    assert answer.status_code == 200
    assert "attachment" in answer["Content-Disposition"]
    content: bytes = answer.content
    return content


def test_gpx_is_read_back_by_gpxpy(world: World, plan: RoundPlan) -> None:
    read: Any = gpxpy.parse(_download(world, plan, "gpx").decode())
    points = list(plan.points.for_group(world.group.pk))
    assert read.version == "1.1"
    assert [one.name for one in read.waypoints] == [
        f"{one.number} {one.position}" for one in points
    ]
    for found, one in zip(read.waypoints, points, strict=True):
        assert found.longitude == pytest.approx(one.point.x, abs=1e-7)
        assert found.latitude == pytest.approx(one.point.y, abs=1e-7)
    (route,) = read.routes
    assert len(route.points) == len(points) == 12
    assert "<b>" in route.name
    assert "\x07" not in route.name


@pytest.mark.parametrize(
    ("kind", "driver", "layer"),
    [("gpx", "GPX", "waypoints"), ("geojson", "GeoJSON", None)],
)
def test_files_are_read_back_by_gdal(
    world: World, plan: RoundPlan, kind: str, driver: str, layer: str | None
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"points.{kind}"
        path.write_bytes(_download(world, plan, kind))
        info = pyogrio.read_info(path, layer=layer, force_feature_count=True)
        bounds = pyogrio.read_bounds(path, layer=layer)[1]
    assert info["driver"] == driver
    assert info["crs"] == "EPSG:4326"
    assert info["features"] == 12
    points = list(plan.points.for_group(world.group.pk))
    assert bounds[0] == pytest.approx([one.point.x for one in points], abs=1e-7)
    assert bounds[1] == pytest.approx([one.point.y for one in points], abs=1e-7)


def test_gdal_reads_the_walk_as_one_route(world: World, plan: RoundPlan) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "points.gpx"
        path.write_bytes(_download(world, plan, "gpx"))
        info = pyogrio.read_info(path, layer="routes", force_feature_count=True)
        assert info["features"] == 1


def test_geojson_says_what_to_take(world: World, plan: RoundPlan) -> None:
    read = json.load(io.BytesIO(_download(world, plan, "geojson")))
    assert "crs" not in read
    assert [one["properties"]["number"] for one in read["features"]] == list(
        range(1, 13)
    )
    taken = [one["properties"]["position"] for one in read["features"]]
    assert {name: taken.count(name) for name in taken} == {
        "low": 4,
        "mid": 4,
        "upper": 4,
    }


def test_file_names_hold_plain_letters(world: World, plan: RoundPlan) -> None:
    url = reverse("plan-gpx", args=[world.slug, plan.uuid])
    named = world.client("lab").get(url)["Content-Disposition"]
    assert f'{plan.planned_on.isoformat()}.gpx"' in named
    assert named.isascii()
