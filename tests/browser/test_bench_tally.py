"""Counting at the microscope: by keys or touch, heard, undone, and never swallowed."""

import pytest
from playwright.sync_api import Locator, expect

from blocks.tenancy import stating
from monitoring.estimation import PILOT_CELLS, DishGrid, cell_order, plan_cells
from monitoring.models import Bag, BenchReading, Density, Dish
from monitoring.models import Tally as Published
from tests.browser.bench_device import Device, Devices
from tests.browser.bench_tally import BUZZ, DISK, HEAR, SAY, UNDONE, Tally
from tests.builders import World

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, databases=["default", "owner"]),
]
CELLS_ONLY = {"predatory mites": "none", "thrips": "none"}
WHOLE_ONLY = {"rust mites": "none", "thrips": "none", "predatory mites": "whole"}
COUNTS = [7, 12, 0, 9, 15, 4, 8, 11, 6, 10]


@pytest.fixture
def tally(world: World, bag: Bag, devices: Devices) -> Tally:
    """A device that hears its tones, at the list of bags."""
    device = devices(world, viewport={"width": 1280, "height": 860})
    device.context.add_init_script(HEAR)
    device.open()
    return Tally(device)


def small_dish(world: World) -> None:
    """Make the usual dish one of few cells, so that all of it is soon read."""
    with stating(world.group.pk):
        Dish.objects.filter(farm_group=world.group).update(
            inner_diameter_mm=60, pitch_mm=10
        )


PAD_NEXT = ("Numpad0", "NumpadEnter")


def test_a_whole_bag_is_counted_by_keys_alone_and_without_a_network(
    world: World, bag: Bag, devices: Devices
) -> None:
    small_dish(world)
    device = devices(world)
    tally, page = Tally(device), device.page
    device.context.set_offline(True)
    # Its defaults: rust mites in cells, the others over the whole dish.
    tally.begin(bag)
    tally.read_cells("Numpad1", COUNTS, *PAD_NEXT)
    page.get_by_role("heading", name="How many cells").wait_for()
    tally.go_on(*PAD_NEXT)
    while not tally.place.startswith("row"):
        tally.keys("Numpad1")
        tally.go_on(*PAD_NEXT)
    tally.keys("Numpad2", "Numpad2", "Numpad3")
    while tally.place != "Done":
        tally.go_on(*PAD_NEXT)
    rust = int(tally.total("rust mites").inner_text())
    tally.keys("NumpadDivide")
    expect(page.locator("main")).to_contain_text("Provisional")
    tally.keys("Numpad0")
    where = page.locator(".where-it-is")
    expect(where).to_contain_text("NOT on the server yet")
    device.context.set_offline(False)
    device.send()
    expect(where).to_contain_text("On the server, and published")
    page.get_by_role("heading", name="The site's figure").wait_for()
    counts = {"rust_mites": rust, "predatory_mites": 2, "thrips": 1}
    assert _published(world, bag) == (counts, dict.fromkeys(counts, 1))


def _published(world: World, bag: Bag) -> tuple[dict[str, int], dict[str, int]]:
    """Give what is counted of a bag, and of how many bags its round's densities are."""
    with stating(world.group.pk):
        tallies = Published.objects.filter(wash__bag=bag)
        of_round = Density.objects.filter(round=bag.round, is_current=True, stratum="")
        return (
            dict(tallies.values_list("organism__code", "count")),
            dict(of_round.values_list("organism__code", "bags_used")),
        )


def test_as_many_cells_as_the_first_call_for_whatever_the_rest_hold(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    tally.read_cells("j", COUNTS)
    events = tally.events()
    start, read = events[0]["payload"], [e for e in events if e["kind"] == "read"]
    grid = DishGrid(inner_diameter_mm=150, pitch_mm=10)
    order = cell_order(grid.cell_names, seed=start["seed"])
    places = [event["payload"]["place"] for event in read]
    assert places == list(order[:PILOT_CELLS])
    plan = plan_cells(dict(zip(order, COUNTS, strict=False)), grid=grid, cv=0.15)
    asked = tally.page.locator(".call .asked")
    expect(asked).to_contain_text(f"read {plan.cells} cells in all")
    expect(asked).to_contain_text("at your pace")
    panel = tally.page.get_by_role("region", name="How many cells")
    expect(panel).to_contain_text(f"then {plan.expected_cv * 100:.0f} in 100")
    # Until it is agreed to, nothing is counted.
    tally.keys("j")
    assert tally.heard[-1] == BUZZ
    tally.go_on()
    assert tally.events()[-1]["payload"] == {"cells": plan.cells}
    for name in order[PILOT_CELLS : plan.cells]:
        assert tally.place == name
        # So many that a rule that stops on the count would have stopped.
        tally.keys(*["j"] * 3)
        tally.keys("Enter")
        tally.settle()
    assert tally.place == "Done"


def test_undo_and_redo_are_one_key_each_and_go_back_to_the_first_act(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    first = tally.place
    tally.keys("j", "j")
    tally.go_on()
    tally.keys("j", "m")
    expect(tally.words).to_have_text(f"Undo, rust mites, cell {tally.place}.")
    assert UNDONE in tally.heard
    tally.keys("m", "m", "m")
    expect(tally.total("rust mites")).to_have_text("0")
    assert tally.place == first
    tally.keys("m")
    expect(tally.words).to_have_text("There is nothing to undo.")
    tally.keys(",", ",", ",")
    expect(tally.total("rust mites")).to_have_text("2")
    assert tally.place != first
    # Nothing was deleted: every act is there.
    kinds = tally.kinds()
    assert [kinds.count(kind) for kind in ("press", "undo", "redo")] == [3, 4, 3]


def test_n16_a_key_held_down_counts_once_unless_hold_mode_is_on(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    address = tally.page.url
    for _ in range(4):
        tally.page.keyboard.down("j")
    tally.page.keyboard.up("j")
    tally.settle()
    expect(tally.total("rust mites")).to_have_text("1")
    tally.page.goto(address.split("#")[0] + "#/keys")
    tally.page.get_by_label("A key held down goes on counting").check()
    expect(tally.page.get_by_text("Kept.")).to_be_visible()
    tally.page.goto(address)
    tally.page.locator(".tally").wait_for()
    for _ in range(4):
        tally.page.keyboard.down("j")
    tally.page.keyboard.up("j")
    tally.settle()
    expect(tally.total("rust mites")).to_have_text("5")


def test_a_key_without_sense_is_buzzed_and_told_never_swallowed(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes={"thrips": "none"})
    tally.keys("k")
    expect(tally.words).to_contain_text("predatory mites: counted over the whole dish")
    tally.keys("l")
    expect(tally.words).to_have_text("No organism of this reading has key 3.")
    tally.keys("g")
    expect(tally.words).to_have_text("Key G has no meaning here.")
    assert [tone for tone in tally.heard if tone == BUZZ] == [BUZZ] * 3
    assert tally.kinds() == ["start"]


def test_a_label_scanned_into_the_tally_is_not_taken_for_presses(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    # As fast as a scanner types: the first sign alone can pass for a finger's.
    tally.page.evaluate(
        "() => { for (const code of ['KeyJ', 'Digit1', 'KeyK', 'Digit1', 'KeyJ'])"
        " document.querySelector('.tally').dispatchEvent(new KeyboardEvent('keydown',"
        " { code, key: code.at(-1), bubbles: true, cancelable: true })); }"
    )
    tally.settle()
    expect(tally.words).to_contain_text("To scan a label, leave the count first")
    expect(tally.total("rust mites")).to_have_text("1")


def test_going_back_is_said_and_a_skipped_cell_gives_its_place_to_the_next_drawn(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    first = tally.place
    second = tally.go_on()
    tally.keys("h", "j")
    assert tally.place == first
    expect(tally.page.locator(".place-about")).to_contain_text("Gone back to 1 of 10")
    tally.go_on()
    tally.keys("y")
    tally.keys("2")
    expect(tally.page.locator(".place-about")).to_contain_text("of the first 11")
    skipped = tally.events()[-1]["payload"]
    assert skipped == {"pass": "cells", "place": second, "why": "grid cannot be read"}


def test_a_reading_with_unread_cells_ends_with_a_reason_only(
    world: World, tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    tally.read_cells("j", [4, 5, 6])
    tally.keys("j")
    tally.keys("/")
    heading = tally.page.get_by_role("heading", name="Read back")
    heading.wait_for()
    # A press in a cell that is not said to be read would count for nothing.
    tally.keys("Enter")
    problem = tally.page.get_by_role("alert").filter(has_text="presses in")
    expect(problem).to_be_visible()
    tally.keys("h")
    tally.page.locator(".tally").wait_for()
    tally.go_on()
    tally.keys("/")
    heading.wait_for()
    tally.keys("Enter")
    expect(tally.page.get_by_text("Say why the chosen places")).to_be_visible()
    tally.keys("1")
    tally.keys("Space")
    expect(tally.page.get_by_role("heading", name="Finished")).to_be_visible()
    finished = tally.events()[-1]
    assert finished["payload"]["unread_why"] == "ran out of time"
    assert list(finished["payload"]["totals"].values()) == [16]
    tally.device.send()
    expect(tally.page.locator(".where-it-is")).to_contain_text("On the server")
    with stating(world.group.pk):
        assert BenchReading.objects.get(bag=bag).state == BenchReading.State.PUBLISHED
        assert Published.objects.get(wash__bag=bag).cells_counted == 4


def test_each_tone_comes_after_its_press_is_on_disk(tally: Tally, bag: Bag) -> None:
    tally.page.context.add_init_script(DISK)
    tally.device.open("?disk#/pick")
    tally.begin(bag, scopes=CELLS_ONLY)
    tally.page.evaluate("() => { done = 0; atTone.length = 0; }")
    tally.keys(*"jjjjj")
    assert tally.page.evaluate("() => atTone") == [1, 2, 3, 4, 5]


def test_a_tab_killed_between_presses_loses_none_that_was_heard(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world)
    device.context.add_init_script(HEAR)
    heard: list[int] = []

    def told(tones: int) -> None:
        heard.append(tones)

    device.page.expose_function("told", told)
    device.open()
    tally = Tally(device)
    tally.begin(bag, scopes=WHOLE_ONLY)
    address, place = tally.page.url, tally.place
    tally.page.evaluate(
        "() => { heard.length = 0; window.onHeard = () => told(heard.length); }"
    )
    # Presses go on while the tab is closed under them.
    tally.page.evaluate(
        "() => { const desk = document.querySelector('.tally').desk;"
        " for (let i = 0; i < 400; i += 1) desk.act('organism 2'); }"
    )
    tally.page.wait_for_function("() => heard.length > 60")
    tally.page.close()
    page = device.context.new_page()
    again = Tally(Device(world, device.context, page))
    page.goto(address)
    page.locator(".tally").wait_for()
    kept = int(again.total("predatory mites").inner_text())
    assert kept >= max(heard) > 50
    assert again.place == place


def test_keys_are_each_persons_own_and_mean_nothing_in_fields(
    tally: Tally, bag: Bag
) -> None:
    page = tally.page
    keys = tally.device.world.url("bench/#/keys")
    page.goto(keys)
    page.get_by_role("button", name="Give a key to organism 1", exact=True).click()
    tally.keys("b")
    expect(page.get_by_text("B means “organism 1” now.")).to_be_visible()
    page.get_by_role("button", name="Give a key to Undo the last").click()
    tally.keys("Tab")
    expect(page.get_by_text("is needed by the browser")).to_be_visible()
    page.goto(tally.device.world.url("bench/#/pick"))
    tally.begin(bag, scopes=CELLS_ONLY)
    tally.keys("b", "j")
    expect(tally.total("rust mites")).to_have_text("2")
    page.get_by_role("button", name="Note and more").click()
    page.get_by_label("Note", exact=True).fill("")
    page.keyboard.type("jbj")
    page.get_by_role("button", name="Keep the note").click()
    tally.settle()
    expect(tally.total("rust mites")).to_have_text("2")
    assert tally.events()[-1]["payload"] == {"text": "jbj"}
    tally.keys("b")
    expect(tally.total("rust mites")).to_have_text("3")


def test_n11_organisms_changed_during_a_bag_leave_its_own_set(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes={"thrips": "whole", "rust mites": "none"})
    before = tally.events()[0]["payload"]
    tally.keys("l")
    # The laboratory no longer lists thrips; this device hears of it.
    tally.page.evaluate(
        "async () => { const kit = bench.store.kit(); await bench.store.keepKit("
        "{ ...kit, organisms: kit.organisms.slice(0, 2), organism_set: 'f'.repeat(12)"
        " }); }"
    )
    address = tally.page.url
    tally.page.goto(address.split("#")[0] + "#/unsent")
    tally.page.locator(".tally").wait_for(state="detached")
    tally.page.goto(address)
    tally.page.locator(".tally").wait_for()
    tally.keys("l")
    expect(tally.total("thrips")).to_have_text("2")
    events = tally.events()
    assert events[0]["payload"] == before
    thrips = before["organisms"][1]["id"]
    assert [e["payload"]["organism"] for e in events[1:]] == [thrips] * 2


TOUCH = """(pairs) => {
  for (const index of pairs) document.querySelectorAll(".hit")[index].dispatchEvent(
    new PointerEvent("pointerdown", { bubbles: true, pointerType: "touch" }));
}"""


def test_a_second_touch_at_once_on_another_key_is_not_taken(
    tally: Tally, bag: Bag
) -> None:
    scopes = dict.fromkeys(("rust mites", "predatory mites", "thrips"), "whole")
    tally.begin(bag, scopes=scopes)
    tally.page.evaluate(TOUCH, [0, 1])
    tally.settle()
    expect(tally.words).to_contain_text("the second was not taken")
    expect(tally.total("rust mites")).to_have_text("1")
    expect(tally.total("predatory mites")).to_have_text("0")
    assert BUZZ in tally.heard


def test_touched_keys_meet_are_large_and_lie_apart_from_undo(
    world: World, bag: Bag, devices: Devices
) -> None:
    device = devices(world, viewport={"width": 390, "height": 844}, has_touch=True)
    tally, page = Tally(device), device.page
    tally.begin(bag)
    hits = [_box(hit) for hit in page.locator(".hit").all()]
    assert all(width >= 64 and height >= 64 for _, _, width, height in hits)
    frame = _box(page.locator(".hits"))
    covered = sum(width * height for _, _, width, height in hits)
    # All but the frame's line of one pixel.
    assert covered >= (frame[2] - 2) * (frame[3] - 2) - 1
    undo = _box(page.get_by_role("button", name="Undo"))
    assert undo[1] + undo[3] + 24 <= frame[1]
    # Nothing to scroll, nothing to zoom by a double tap.
    assert page.evaluate("document.documentElement.scrollHeight") <= 844
    page.locator(".hit").first.tap()
    tally.settle()
    expect(tally.total("rust mites")).to_have_text("1")
    size = page.locator(".hit-total").first.evaluate(
        "(one) => parseFloat(getComputedStyle(one).fontSize)"
    )
    assert size >= 48


def _box(one: Locator) -> tuple[float, float, float, float]:
    box = one.bounding_box()
    assert box is not None
    return box["x"], box["y"], box["width"], box["height"]


def test_a_dish_that_was_counted_is_recounted_without_its_figures(
    tally: Tally, bag: Bag
) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    tally.read_cells("j", [3])
    tally.keys("/")
    tally.page.get_by_role("heading", name="Read back").wait_for()
    tally.keys("1", "Enter")
    tally.page.get_by_role("heading", name="Finished").wait_for()
    tally.device.send()
    tally.device.open("?again#/pick")
    tally.page.keyboard.type(f"{bag.label}\n")
    note = tally.page.get_by_text("was counted already by others").or_(
        tally.page.get_by_text("was counted on this device already")
    )
    expect(note).to_be_visible()
    expect(tally.page.get_by_label("This is a recount")).to_be_checked()
    tally.page.get_by_role("button", name="Start counting").press("Enter")
    tally.page.locator(".tally").wait_for()
    start = tally.events()[0]["payload"]
    assert (start["recount"], start["blind"]) == (True, True)
    expect(tally.total("rust mites")).to_have_text("0")


def test_totals_are_said_on_request_and_all_else_for_those_who_want_it(
    tally: Tally, bag: Bag
) -> None:
    page = tally.page
    page.context.add_init_script(SAY)
    tally.device.open("?said#/keys")
    page.get_by_label("Say cells, undone acts and refusals aloud").check()
    page.get_by_text("Kept.").wait_for()
    page.goto(tally.device.world.url("bench/?said#/pick"))
    tally.begin(bag, scopes=CELLS_ONLY)
    place = tally.place
    tally.keys("j", "j", ".", "m")
    assert page.evaluate("() => said") == [
        "2 rust mites.",
        f"Undo, rust mites, cell {place}.",
    ]
    # Nobody touches the screen while both eyes are in the eyepieces.
    assert page.evaluate("() => asked") == 1
    page.get_by_role("link", name="Other bags").click()
    page.get_by_role("heading", name="Count a bag").wait_for()
    assert page.evaluate("() => asked") == 0


def test_dropping_wants_a_hold_and_a_reason(tally: Tally, bag: Bag) -> None:
    tally.begin(bag, scopes=CELLS_ONLY)
    page = tally.page
    page.get_by_role("button", name="Note and more").click()
    page.get_by_label("Why it is dropped").fill("dish spilt")
    drop = page.get_by_role("button", name="Drop this reading")
    drop.click(delay=300)
    assert "drop" not in tally.kinds()
    reading = tally.reading()
    drop.hover()
    page.mouse.down()
    page.get_by_role("heading", name="Count a bag").wait_for()
    page.mouse.up()
    events = page.evaluate("(id) => bench.store.eventsOf(id)", reading)
    assert events[-1]["payload"] == {"why": "dish spilt"}
