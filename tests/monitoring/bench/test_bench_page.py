"""The bench's page, what a device keeps of it, and the kit that it counts with."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.gis.geos import Point
from django.contrib.staticfiles import finders
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from PIL import Image

from blocks.access import member_for
from blocks.tenancy import stating
from monitoring.models import Dish
from monitoring.pages import bench_files, bench_kit
from monitoring.pages.dish_cells_page import grid_of
from monitoring.queries import bench_kit as queries
from tests.builders import World
from tests.monitoring.bags.bench import Bench

pytestmark = pytest.mark.django_db(databases=["default", "owner"])


def kit_of(world: World, role: str = "lab") -> dict[str, Any]:
    answer = world.client(role).get(world.url("bench/kit/"))
    assert answer.status_code == 200
    told: dict[str, Any] = json.loads(answer.content)
    return told


def labels(kit: dict[str, Any]) -> set[str]:
    return {bag["label"] for bag in kit["bags"]}


def test_kit_says_who_counts_what_in_which_dish(world: World) -> None:
    kit = kit_of(world)
    assert kit["schema"] == 1
    assert kit["person"]["name"] == world.people["lab"].name
    assert kit["person"]["id"] == str(world.people["lab"].uuid)
    assert kit["group"] == {
        "slug": world.slug,
        "name": world.group.name,
        "zone": world.group.time_zone,
    }
    assert [one["position"] for one in kit["organisms"]] == sorted(
        one["position"] for one in kit["organisms"]
    )
    assert re.fullmatch(r"[0-9a-f]{12}", kit["organism_set"])
    assert {row["tissue"] for row in kit["recoveries"]} >= {"leaf"}
    for row in kit["recoveries"]:
        assert 0 < row["low"] <= row["median"] <= row["high"] <= 1


def test_kit_has_each_cell_with_the_name_and_area_of_the_dish(world: World) -> None:
    (told,) = kit_of(world)["dishes"]
    with stating(world.group.pk):
        grid = grid_of(Dish.objects.get(farm_group=world.group))
    assert [cell["name"] for cell in told["cells"]] == list(grid.cell_names)
    assert [cell["area_mm2"] for cell in told["cells"]] == pytest.approx(
        list(grid.cell_areas_mm2)
    )
    assert sum(cell["area_mm2"] for cell in told["cells"]) == pytest.approx(
        told["area_mm2"]
    )
    for cell in told["cells"]:
        letters, number = re.fullmatch(r"([A-Z]+)(\d+)", cell["name"]).groups()  # type: ignore[union-attr]
        assert cell["row"] == int(number) - 1
        assert cell["column"] == ord(letters) - ord("A")
    # A whole square's centre is where its neighbours' are, one pitch on.
    by_name = {cell["name"]: cell for cell in told["cells"]}
    here, right = by_name["E5"], by_name["F5"]
    assert right["x_mm"] - here["x_mm"] == pytest.approx(told["pitch_mm"])
    assert right["y_mm"] == here["y_mm"]


def test_kit_has_bags_under_way_and_those_counted_lately(one_counted: World) -> None:
    planned, *_ = bags = Bench(one_counted).make()
    with stating(one_counted.group.pk):
        Bench(one_counted).move("lost", bags[-1], note="torn")
        member = member_for(one_counted.people["lab"], one_counted.slug)
        now = timezone.now()
        ways = [bag.way for bag in queries.kit_of(member, now=now).bags]
        later = now + timedelta(days=queries.RECOUNT_DAYS + 1)
        ways_later = [bag.way for bag in queries.kit_of(member, now=later).bags]
    assert sorted(ways) == ["counted", "planned", "planned"]
    assert ways_later == ["planned", "planned"]
    assert planned.label in labels(kit_of(one_counted))


def test_kit_of_a_member_holds_bags_of_the_farms_that_the_member_sees(
    world: World,
) -> None:
    bench = Bench(world)
    seen, unseen = bench.make(block=0), bench.make(block=1)
    with stating(world.group.pk):
        whole = member_for(world.people["lab"], world.slug)
        # Staff of a group see all its farms today; the kit must not rely on that.
        part = replace(whole, farm_ids=frozenset({world.farms[0].pk}))
        kept = queries.kit_of(part, now=timezone.now()).bags
    assert {bag.label for bag in kept} == {bag.label for bag in seen}
    assert labels(kit_of(world)) == {bag.label for bag in [*seen, *unseen]}


def test_kit_tells_which_dishes_were_counted_and_never_a_count(
    one_counted: World,
) -> None:
    kit = kit_of(one_counted)
    (bag,) = [bag for bag in kit["bags"] if bag["counted"]]
    (dish,) = bag["counted"]
    assert dish["wash"] == 1
    assert dish["dish_number"] == 1
    ids = {one["id"] for one in kit["organisms"]}
    assert dish["organisms"]
    assert set(dish["organisms"]) <= ids
    assert "4711" not in json.dumps(kit)


@pytest.fixture
def one_counted(world: World) -> World:
    """A world with one published bag, of a count that stands nowhere else."""
    from tests.desks import Desk, bag_row, bag_sheet  # noqa: PLC0415

    day = timezone.localdate()
    row = bag_row(bag=1, block=world.block.name, collected_on=day, washed_on="",
                  rust_mites=4711)  # fmt: skip
    desk = Desk(world)
    desk.publish(desk.upload(bag_sheet(row), "one.csv"))
    return world


def test_a_wash_of_which_nobody_told_anything_is_still_to_come(world: World) -> None:
    from tests.desks import Desk, bag_row, bag_sheet  # noqa: PLC0415

    day = timezone.localdate()
    row = bag_row(bag=1, block=world.block.name, collected_on=day, washed_on="",
                  rust_mites="", predatory_mites="", thrips="")  # fmt: skip
    desk = Desk(world)
    desk.publish(desk.upload(bag_sheet(row), "none.csv"))
    (bag,) = kit_of(world)["bags"]
    assert (bag["way"], bag["washes"]) == ("collected", [])


def test_kit_takes_eleven_queries_however_many_bags(world: World) -> None:
    bench = Bench(world)
    bench.make()
    with stating(world.group.pk):
        member = member_for(world.people["lab"], world.slug)
        for _ in range(2):
            with CaptureQueriesContext(
                connection,
            ) as caught:
                queries.kit_of(member, now=timezone.now())
            assert len(caught) == 11
            bench.make(numbers={"low": 30})


def test_kit_that_is_cut_says_so_and_keeps_the_newest(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench(world)
    bench.make(timezone.localdate() - timedelta(days=3))
    newest = bench.make(timezone.localdate())
    monkeypatch.setattr(queries, "MOST_BAGS", 3)
    monkeypatch.setattr(bench_kit, "MOST_BAGS", 3)
    kit = kit_of(world)
    assert labels(kit) == {bag.label for bag in newest}
    assert kit["bags_cut"] == "Only the newest 3 bags are kept on a device."


def test_bags_with_points_are_numbered_along_the_walk(world: World) -> None:
    bags = Bench(world).make()
    with stating(world.group.pk):
        for number, bag in enumerate(reversed(bags)):
            bag.point = Point(10.0 + number, 45.0, srid=4326)
            bag.save(update_fields=["point"])
    told = {bag["label"]: bag for bag in kit_of(world)["bags"]}
    assert [told[bag.label]["walk_order"] for bag in bags] == [1, 2, 3]
    assert told[bags[2].label]["point"] == [10.0, 45.0]


def test_the_page_names_no_person_since_devices_are_shared(world: World) -> None:
    page = world.client("lab").get(world.url("bench/")).content.decode()
    assert world.people["lab"].name not in page
    assert world.people["lab"].email not in page
    assert "csrfmiddlewaretoken" not in page
    assert not re.search(
        r"<style|\son\w+=|<script(?![^>]*(src=|application/json))", page
    )


def test_worker_keeps_every_file_of_the_page_and_names_one_version(
    world: World,
) -> None:
    client = world.client("lab")
    answer = client.get(world.url("bench/worker.js"))
    assert answer.headers["Content-Type"].startswith("text/javascript")
    assert "no-store" in answer.headers["Cache-Control"]
    told = json.loads(re.search(r"TOLD = (\{.*\});", answer.content.decode()).group(1))  # type: ignore[union-attr]
    folder = Path(str(finders.find("monitoring/bench")))
    files = {f"/static/monitoring/bench/{file.relative_to(folder).as_posix()}"
             for file in folder.rglob("*") if file.is_file()}  # fmt: skip
    assert files < set(told["files"])
    page = client.get(world.url("bench/")).content.decode()
    for address in re.findall(r'(?:href|src)="(/static/[^"]+)"', page):
        assert address in told["files"]
    assert (
        told["version"]
        == json.loads(
            re.search(r'id="bench"[^>]*>(.*?)</script>', page).group(1)  # type: ignore[union-attr]
        )["version"]
    )
    assert told["version"] == kit_of(world)["page_version"]


def test_version_changes_with_any_file(
    world: World, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with stating(world.group.pk):
        member = member_for(world.people["lab"], world.slug)
    before = bench_files.bench_files(member)
    assert bench_files.bench_files(member) == before
    (tmp_path / "store.js").write_text("// another")
    real = bench_files._files()
    name = "monitoring/bench/store.js"
    changed = [(at, tmp_path / "store.js" if at == name else file) for at, file in real]
    monkeypatch.setattr(bench_files, "_files", lambda: changed)
    after = bench_files.bench_files(member)
    assert after.addresses == before.addresses
    assert after.version != before.version


def test_manifest_has_icons_of_the_sizes_that_it_states(world: World) -> None:
    answer = world.client("lab").get(world.url("bench/app.webmanifest"))
    assert answer.headers["Content-Type"] == "application/manifest+json"
    told = json.loads(answer.content)
    assert told["scope"] == told["start_url"] == world.url("bench/")
    assert {icon["sizes"] for icon in told["icons"]} == {"192x192", "512x512"}
    for icon in told["icons"]:
        with Image.open(str(finders.find(icon["src"].removeprefix("/static/")))) as one:
            assert f"{one.width}x{one.height}" == icon["sizes"]
            assert one.format == "PNG"


@pytest.mark.parametrize(
    "rest", ["bench/", "bench/kit/", "bench/worker.js", "bench/app.webmanifest"]
)
def test_growers_and_nobody_have_no_bench(world: World, rest: str) -> None:
    assert world.client("grower").get(world.url(rest)).status_code == 403


def test_lab_and_coordinator_find_the_bench_in_the_navigation(world: World) -> None:
    link = f'href="{world.url("bench/")}"'
    shown = {
        role: link in world.client(role).get(world.url()).content.decode()
        for role in world.people
    }
    assert shown == {
        "lab": True,
        "coordinator": True,
        "grower": False,
        "consultant": False,
    }
