"""Counting a reference dish in a real browser: keys, touch, a closed page, marks."""

from collections.abc import Callable
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from blocks.tenancy import stating
from monitoring.models import ReferenceCount, ReferenceDish
from tests.builders import World
from tests.monitoring.training.desk import count, draw, truth_of

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
ASKED = {"rust_mites": 900, "predatory_mites": 60, "thrips": 60}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PHONE = {"width": 390, "height": 844}
# The look after the first is fetched ahead: that request never ends until it is failed.
FIRST_FETCH_HANGS = """
const real = window.fetch;
window.fetch = () => new Promise((_, fail) => {
  window.fetch = real;
  window.failFirst = () => new Promise((done) => {
    fail(new TypeError("away"));
    setTimeout(done);
  });
});
"""


def _open(page: Page, world: World, reference: ReferenceDish) -> None:
    page.goto(world.url(f"laboratory/training/dishes/{reference.uuid}/"))
    page.locator("[data-hits]").wait_for()


def _is_drawn(page: Page) -> None:
    page.wait_for_function(
        "() => { const i = document.querySelector('[data-look]');"
        " return i.complete && i.naturalWidth === 840 && !i.dataset.waits; }"
    )


def test_keys_count_go_on_take_back_and_a_closed_page_loses_nothing(
    world: World, sign_in: Callable[..., Page]
) -> None:
    reference = draw(world, ASKED, cells=6, magnification=20)
    page = sign_in(world, "lab")
    _open(page, world, reference)
    _is_drawn(page)
    for key in ("1", "1", "1", "2", "3", "Backspace", "ArrowRight", "1"):
        page.keyboard.press(key)
    expect(page.get_by_label("Rust mites", exact=True)).to_have_value("4")
    expect(page.get_by_label("Predatory mites", exact=True)).to_have_value("1")
    expect(page.get_by_label("Thrips", exact=True)).to_have_value("0")
    expect(page.locator("[data-turn]")).to_contain_text("look 2 of")
    expect(page.locator("[data-said]")).to_have_text("Rust mites 4")
    _is_drawn(page)
    # Closed and opened again, it stands where it stood.
    page.goto(world.url("laboratory/training/"))
    _open(page, world, reference)
    expect(page.get_by_label("Rust mites", exact=True)).to_have_value("4")
    expect(page.locator("[data-turn]")).to_contain_text("look 2 of")
    assert page.evaluate("localStorage.length") == 1
    page.get_by_role("button", name="Hand in").click()
    page.get_by_text("Counted on").wait_for()
    page.wait_for_function("localStorage.length === 0")
    with stating(world.group.pk):
        kept = dict(
            ReferenceCount.objects.values_list("organism__code", "count").order_by("pk")
        )
    assert kept == {"rust_mites": 4, "predatory_mites": 1, "thrips": 0}
    assert "/marks/" in str(page.locator("[data-look]").get_attribute("src"))
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-turn]")).to_contain_text("look 2 of")
    _is_drawn(page)


def test_a_picture_that_fails_late_does_not_take_the_place_of_the_one_in_view(
    world: World, sign_in: Callable[..., Page]
) -> None:
    reference = draw(world, ASKED, cells=6, magnification=10)
    page = sign_in(world, "lab")
    page.add_init_script(FIRST_FETCH_HANGS)
    _open(page, world, reference)
    page.keyboard.press("ArrowRight")
    # The picture of the look before is not shown for it meanwhile.
    expect(page.locator("[data-look]")).to_have_css("opacity", "0")
    page.keyboard.press("ArrowRight")
    expect(page.locator("[data-turn]")).to_contain_text("look 3 of 6")
    _is_drawn(page)
    expect(page.locator("[data-look]")).to_have_css("opacity", "1")
    shown = page.locator("[data-look]").get_attribute("src")
    page.evaluate("failFirst()")
    assert page.locator("[data-look]").get_attribute("src") == shown
    # Asked for again, it comes.
    page.keyboard.press("ArrowLeft")
    expect(page.locator("[data-turn]")).to_contain_text("look 2 of 6")
    _is_drawn(page)
    assert page.locator("[data-look]").get_attribute("src") != shown


def test_on_a_phone_the_keys_lie_under_the_thumb_with_the_picture_in_view(
    world: World, sign_in: Callable[..., Page]
) -> None:
    reference = draw(world, ASKED, cells=6, magnification=40)
    page = sign_in(world, "lab", viewport=PHONE, has_touch=True, is_mobile=True)
    _open(page, world, reference)
    _is_drawn(page)
    image = page.locator("[data-look]")
    page.locator(".look-name").evaluate("(one) => one.scrollIntoView()")
    page.locator("[data-hit='rust_mites']").tap()
    page.locator("[data-hit='thrips']").tap()
    page.locator("[data-hit='thrips']").tap()
    expect(page.get_by_label("Thrips", exact=True)).to_have_value("2")
    shown, keys = image.bounding_box(), page.locator("[data-hits]").bounding_box()
    assert shown is not None
    assert keys is not None
    assert shown["y"] >= 0
    assert shown["y"] + shown["height"] <= keys["y"]
    for key in page.locator(".hit").all():
        box = key.bounding_box()
        assert box is not None
        assert box["height"] >= 64
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    page.get_by_role("link", name="Next look").tap()
    expect(page.locator("[data-turn]")).to_contain_text("look 2 of")
    _is_drawn(page)


def test_what_is_written_into_a_field_counts_and_keys_go_on_from_it(
    world: World, sign_in: Callable[..., Page]
) -> None:
    reference = draw(world, ASKED, cells=6, magnification=20)
    page = sign_in(world, "coordinator")
    _open(page, world, reference)
    field = page.get_by_label("Rust mites", exact=True)
    field.fill("31")
    # In a field a digit is a digit.
    field.press("End")
    field.press("2")
    expect(field).to_have_value("312")
    field.blur()
    page.keyboard.press("1")
    expect(field).to_have_value("313")
    expect(page.locator("[data-hit='rust_mites'] [data-sum]")).to_have_text("313")
    # What was not counted stays empty, which is not taken for none.
    expect(page.get_by_label("Thrips", exact=True)).to_have_value("")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_each_page_fits_a_phone_and_passes_axe(
    world: World, sign_in: Callable[..., Page], theme: Literal["light", "dark"]
) -> None:
    reference, counted = (
        draw(world, ASKED, cells=6, magnification=20, seed=seed) for seed in (1, 2)
    )
    count(world, counted, truth_of(world, counted), role="coordinator")
    page = sign_in(world, "coordinator", viewport=PHONE, color_scheme=theme)
    person = world.people["coordinator"].uuid
    for rest in (
        "",
        "new/",
        "senior/",
        f"people/{person}/",
        f"dishes/{reference.uuid}/",
        f"dishes/{counted.uuid}/",
    ):
        page.goto(world.url(f"laboratory/training/{rest}"))
        page.wait_for_load_state("networkidle")
        results = Axe().run(page, options={"runOnly": RULES})
        assert results.violations_count == 0, results.generate_report()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
