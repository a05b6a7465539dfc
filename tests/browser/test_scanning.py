"""Labels scanned in a real browser: by a hand scanner's keys, and by the camera."""

from collections.abc import Callable
from datetime import date

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.builders import World
from tests.monitoring.bags.bench import Bench

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
# A camera of a black picture, and a reader that finds the code at its third look:
# Chromium on a desk has neither.
CAMERA = """
let looks = 0;
window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["qr_code"]; }
  async detect() { looks += 1; return looks > 2 ? [{ rawValue: "%s" }] : []; }
};
navigator.mediaDevices.getUserMedia = async () => {
  const canvas = document.createElement("canvas");
  canvas.getContext("2d").fillRect(0, 0, 9, 9);
  return canvas.captureStream(10);
};
"""


def test_what_a_hand_scanner_types_opens_the_bag(
    world: World, sign_in: Callable[..., Page]
) -> None:
    bag, *_ = Bench(world).make(date(2026, 8, 14))
    page = sign_in(world, "lab")
    page.goto(world.url("bags/"))
    page.get_by_role("link", name="Scan a label").click()
    expect(
        page.get_by_text("This browser does not read codes by itself")
    ).to_be_visible()
    expect(page.get_by_role("button", name="Use the camera")).to_be_hidden()
    page.keyboard.type(f"{bag.label_code}\n")
    page.get_by_role("heading", name=f"Bag 1, label {bag.label_code}").wait_for()
    page.get_by_role("button", name="It is collected").click()
    page.get_by_text("Bag 1 is collected now.").wait_for()
    assert Axe().run(page).response["violations"] == []


def test_the_camera_opens_the_bag_that_it_sees(
    world: World, sign_in: Callable[..., Page]
) -> None:
    bag, *_ = Bench(world).make(date(2026, 8, 14))
    page = sign_in(world, "grower", viewport={"width": 390, "height": 844})
    page.add_init_script(CAMERA % f"https://elsewhere.example.org/b/{bag.label}/")
    page.goto(world.url("bags/scan/"))
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("button", name="Use the camera").click()
    page.get_by_role("heading", name=f"Bag 1, label {bag.label_code}").wait_for()
    # What a stranger's code says leads nowhere but to this site's own pages.
    assert page.url.endswith(world.url(f"b/{bag.label}/"))
