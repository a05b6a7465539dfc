"""From the plan to the block's density: walked, washed and counted offline."""

from datetime import date

import pytest
from playwright.sync_api import expect

from blocks.tenancy import stating
from monitoring.models import Bag, BagStep, Density, Dish, RoundPlan, Tally, Wash
from tests.browser.bench_device import Device, Devices
from tests.browser.bench_tally import Tally as Counting
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
# Rust mites by bag; the others are looked for and not found.
FOUND = [5, 0, 12, 3, 1]
WHOLE = {"rust mites": "whole", "predatory mites": "whole", "thrips": "whole"}


def _plan(device: Device) -> None:
    """Plan a round of five leaves for today, and make its bags."""
    page, world = device.page, device.world
    page.goto(world.url(f"blocks/{world.block.uuid}/"))
    page.get_by_role("link", name="Plan a round").click()
    page.get_by_label("Day of the round").fill(date.today().isoformat())  # noqa: DTZ011
    for position in ("low", "mid", "upper"):
        page.get_by_label(position, exact=True).set_checked(position == "mid")
    page.get_by_label("Bags enough for").select_option("stated")
    page.get_by_label("Bags, if you state the number").fill(str(len(FOUND)))
    page.get_by_role("button", name="Plan this round").click()
    page.get_by_role("heading", name="Round of").wait_for()
    page.get_by_role("button", name="Make its bags and labels").click()
    page.get_by_role("heading", name="Labels").first.wait_for()


def _walk(device: Device, places: list[tuple[float, float]]) -> None:
    """Collect each bag at its vine, in the order of the walk."""
    page = device.page
    page.goto(device.world.url("bench/#/collect"))
    for number, (longitude, latitude) in enumerate(places, start=1):
        device.context.set_geolocation(
            {"longitude": longitude, "latitude": latitude, "accuracy": 5}
        )
        page.get_by_text("here, within 5 m").wait_for()
        page.get_by_role("button", name="Collected", exact=True).click()
        if number < len(places):
            page.get_by_text(f"{number} of {len(places)} ").first.wait_for()
    page.locator(".collect-code", has_text="All collected").wait_for()


def _wash(device: Device) -> None:
    page = device.page
    page.get_by_role("link", name="Wash").click()
    page.get_by_role("button", name="All of these").click()
    page.get_by_role("button", name=f"{len(FOUND)} bags washed").click()
    page.get_by_text("Kept on this device").wait_for()


def _count(device: Device, bags: list[Bag]) -> None:
    page, counting = device.page, Counting(device)
    page.get_by_role("link", name="Count").click()
    for bag, mites in zip(bags, FOUND, strict=True):
        counting.begin(bag, scopes=WHOLE)
        counting.keys(*["Numpad1"] * mites)
        while counting.place != "Done":
            counting.go_on()
        counting.keys("NumpadDivide")
        expect(page.locator("main")).to_contain_text("Provisional")
        counting.keys("Numpad0")
        expect(page.locator(".where-it-is")).to_contain_text("NOT on the server yet")
        page.get_by_role("button", name="Next bag").click()


def _made(world: World) -> list[Bag]:
    with stating(world.group.pk):
        (plan,) = RoundPlan.objects.for_group(world.group.pk)
        bags = list(Bag.objects.for_group(world.group.pk).order_by("pk"))
    assert plan.seed
    return bags


def test_a_planned_round_comes_back_complete_from_days_without_a_network(
    world: World, devices: Devices
) -> None:
    with stating(world.group.pk):
        Dish.objects.filter(farm_group=world.group).update(
            inner_diameter_mm=60, pitch_mm=20
        )
    device = devices(
        world, "coordinator", permissions=["geolocation"],
        geolocation={"longitude": 0, "latitude": 0, "accuracy": 5},
    )  # fmt: skip
    _plan(device)
    bags = _made(world)
    # The page is open with what it knew before the round was planned.
    device.open("#/collect")
    device.page.get_by_text("5 of 5 bags to collect").click()
    device.page.locator(".collect-code", has_text=bags[0].label_code).wait_for()

    device.context.set_offline(True)
    _walk(device, [(bag.point.x, bag.point.y) for bag in bags if bag.point])
    _wash(device)
    _count(device, bags)
    device.page.reload()
    device.ready()
    with stating(world.group.pk):
        assert not Tally.objects.exists()
        assert not Wash.objects.exists()

    device.context.set_offline(False)
    device.send()
    _all_has_come(world, bags)
    device.page.goto(world.url(f"blocks/{world.block.uuid}/"))
    expect(device.page.locator(".sentence")).to_contain_text("per leaf")
    expect(device.page.locator("main")).to_contain_text("5 bags")


def _all_has_come(world: World, bags: list[Bag]) -> None:
    with stating(world.group.pk):
        tallies = Tally.objects.filter(organism__code="rust_mites", state="published")
        counts = dict(tallies.values_list("wash__bag_id", "count"))
        ways = list(Bag.objects.values_list("way", flat=True))
        steps = BagStep.objects.filter(bag=bags[0]).order_by("pk")
        walked = list(steps.values_list("way", flat=True))
        density = Density.objects.get(
            organism__code="rust_mites", is_current=True, stratum=""
        )
    assert counts == {bag.pk: mites for bag, mites in zip(bags, FOUND, strict=True)}
    assert ways == ["counted"] * len(FOUND)
    assert walked == ["planned", "collected", "washed", "counted"]
    assert (density.bags_used, density.bags_missing) == (len(FOUND), 0)
    assert density.median is not None
