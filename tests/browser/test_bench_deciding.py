"""A person decides about a reading that waits, in the system's own browser."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.builders import World
from tests.monitoring.bench.benches import Bench, some_bags

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]


def _look(page: Page) -> None:
    """Nothing is wider than the window, and axe finds nothing."""
    size = page.viewport_size
    assert size
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert Axe().run(page).response["violations"] == []


def test_a_second_count_is_looked_at_and_kept_as_a_recount(
    make_world: Callable[..., World], sign_in: Callable[..., Page]
) -> None:
    world = make_world("Upper ")
    bag = some_bags(world)[0]
    first, second = Bench(world), Bench(world, role="coordinator")
    first.count(bag, 100)
    key = second.count(bag, 130)
    first.send()
    second.send()
    page = sign_in(world, "lab", viewport={"width": 390, "height": 844})
    page.get_by_role("link", name="Bags", exact=True).click()
    page.get_by_role("link", name="1 reading from the bench waits").click()
    page.get_by_role("link", name="Decide about bag 1").click()
    page.get_by_text("+26 %, z +2.0; Poisson intervals overlap").wait_for()
    page.get_by_label("Keep it as a recount").check()
    page.get_by_role("button", name="Keep the decision").click()
    page.get_by_text("Kept. The reading is published now.").wait_for()
    page.get_by_text("beside the one that figures are made with").wait_for()
    assert [one.reading for one in second.tallies(key)] == [2]
    page.get_by_text("16 places, in the order read").click()
    page.get_by_role("cell", name="130").last.wait_for()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1440])
def test_pages_of_readings_fit_and_pass_axe(
    make_world: Callable[..., World],
    sign_in: Callable[..., Page],
    scheme: str,
    width: int,
) -> None:
    world = make_world("Upper ")
    bag, other = some_bags(world, 2)
    bench = Bench(world)
    published = bench.count(bag, 100)
    keys = [bench.count(bag, 130), bench.count(str(uuid4()), 3), published]
    bench.start(other)
    bench.send()
    page = sign_in(
        world,
        "coordinator",
        viewport={"width": width, "height": 900},
        color_scheme=scheme,
    )
    page.goto(world.url("bench/todo/"))
    _look(page)
    for key in keys:
        page.goto(world.url(f"bench/todo/{key}/"))
        page.locator("details summary").click()
        _look(page)
    (tally,) = bench.tallies(published)
    page.goto(world.url(f"tallies/{tally.uuid}/"))
    _look(page)
