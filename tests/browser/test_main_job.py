"""The main job in a real browser: a sheet goes in; figures, map and mail come out."""

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.utils import timezone
from playwright.sync_api import Page, expect

from tests.builders import World
from tests.desks import bag_row, bag_sheet

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]


def _upload(page: Page, world: World, path: Path) -> None:
    page.goto(world.url("sheets/"))
    page.get_by_label("Sheet", exact=True).set_input_files(path)
    page.get_by_role("button", name="Upload").click()


def _fresh(world: World, path: Path) -> Path:
    day = timezone.localdate() - timedelta(days=1)
    rows = [
        bag_row(bag=i, block=world.block.name, collected_on=day, washed_on="",
                rust_mites=400 + 37 * i, predatory_mites=1)
        for i in range(8)
    ]  # fmt: skip
    path.write_bytes(bag_sheet(*rows))
    return path


def test_a_bad_sheet_tells_its_errors_and_is_mended_on_the_page(
    watched_world: World, sign_in: Callable[..., Page], tmp_path: Path
) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(
        bag_sheet(
            bag_row(bag=1, block=watched_world.block.name, rust_mites=">100"),
            bag_row(bag=2, block=watched_world.block.name, rust_mites=4),
        )
    )
    page = sign_in(watched_world, "lab")
    _upload(page, watched_world, path)
    page.get_by_text("keep it from being published").wait_for()
    expect(page.get_by_text("Count some cells of the dish").first).to_be_visible()
    expect(page.get_by_role("button", name="Publish", exact=True)).to_have_count(0)
    page.get_by_label("rust_mites", exact=True).fill("90")
    page.get_by_role("button", name="Save this row").click()
    page.get_by_role("button", name="Publish", exact=True).click()
    page.get_by_text("Densities follow within seconds").wait_for()


def test_a_good_sheet_becomes_figures_map_and_mail_without_a_reload(
    watched_world: World, sign_in: Callable[..., Page], tmp_path: Path
) -> None:
    world = watched_world
    consultant = sign_in(world, "consultant")
    consultant.locator("#blocks-map[data-shown]").wait_for()
    before = consultant.locator("#blocks-map").get_attribute("data-shown") or ""
    lab = sign_in(world, "lab")
    _upload(lab, world, _fresh(world, tmp_path / "fresh.csv"))
    lab.get_by_role("button", name="Publish", exact=True).click()
    lab.get_by_text("Densities follow within seconds").wait_for()
    lab.get_by_role("link", name=world.block.name).first.click()
    expect(lab.locator(".sentence").first).to_contain_text("above your 100")
    lab.locator('.chart[data-drawn="yes"]').first.wait_for()
    assert lab.locator(".chart .scatterlayer .trace").count() >= 3
    consultant.goto(world.url())
    consultant.locator("#blocks-map[data-shown]").wait_for()
    after = consultant.locator("#blocks-map").get_attribute("data-shown") or ""
    assert json.loads(before) != json.loads(after)
    expect(consultant.get_by_text("alert stands").first).to_be_visible()
    consultant.goto(world.url("mail/"))
    letter = consultant.locator("main")
    expect(letter).to_contain_text("Alert: rust mites per leaf")
    expect(letter).to_contain_text("threshold of 100 per leaf")


def test_a_figure_leads_down_to_its_counts(
    watched_world: World, sign_in: Callable[..., Page]
) -> None:
    page = sign_in(watched_world, "grower")
    page.get_by_role("link", name=watched_world.block.name).first.click()
    page.locator("table a[href*='/densities/']").first.click()
    expect(page.get_by_text("Recovery of one wash")).to_be_visible()
    expect(page.locator("tbody tr")).to_have_count(8)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_pages_fit_a_phone_and_pass_axe(
    watched_world: World, sign_in: Callable[..., Page], scheme: str
) -> None:
    page = sign_in(
        watched_world,
        "coordinator",
        viewport={"width": 390, "height": 800},
        color_scheme=scheme,
    )
    block = f"blocks/{watched_world.block.uuid}/"
    for path in ("", block, "sheets/", "alerts/", "thresholds/", "laboratory/",
                 "people/", "blocks/import/", "thresholds/add/"):  # fmt: skip
        page.goto(watched_world.url(path))
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 390, path
        found = Axe().run(page)
        assert found.violations_count == 0, (path, found.generate_report())
