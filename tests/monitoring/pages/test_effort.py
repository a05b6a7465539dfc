"""How many bags: from the rounds that were counted, and tried on them."""

import json
import re
from datetime import date, timedelta
from html import unescape
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from blocks.tenancy import stating
from monitoring.estimation import (
    common_k,
    fit_power_law,
    sequential_test,
    units_for_precision,
)
from monitoring.models import Organism, Recovery, Round, Tally
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet
from tests.monitoring.pages.conftest import set_mite_threshold, settle

pytestmark = pytest.mark.django_db
RECOVERY = 162.15 / (162.15 + 27.83)


def _counts(rounds: int = 12, bags: int = 14, *, seed: int = 5) -> list[list[int]]:
    """Leaves of rounds from sparse to dense, with k 0.8."""
    chance = np.random.default_rng(seed)
    means = np.geomspace(4, 300, rounds)
    return [
        chance.poisson(chance.gamma(0.8, mean / 0.8, bags)).tolist() for mean in means
    ]


def _publish(
    desk: Desk,
    counts: list[list[int]],
    *,
    block: str = "Block 0",
    first: date = date(2026, 5, 1),
    **values: object,
) -> None:
    rows = [
        bag_row(
            bag=bag,
            block=block,
            rust_mites=count,
            collected_on=first + timedelta(days=7 * number),
            washed_on="",
            **values,
        )
        for number, of_round in enumerate(counts)
        for bag, count in enumerate(of_round)
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))
    settle(desk.world)


def _effort(world: World, role: str = "consultant", **query: str) -> str:
    return _asked(world, query, role)


def _asked(
    world: World, query: dict[str, str], role: str = "consultant", *, status: int = 200
) -> str:
    path = world.url(f"blocks/{world.block.uuid}/effort/")
    return _text(world, path, role, status, query)


def _dispersion(world: World, role: str = "consultant", **query: str) -> str:
    return _text(world, world.url("dispersion/"), role, 200, query)


def _text(
    world: World, path: str, role: str, status: int, query: dict[str, str]
) -> str:
    answer = world.client(role).get(path, query)
    assert answer.status_code == status
    return unescape(" ".join(answer.content.decode().split()))


def _json(text: str, element: str) -> Any:
    found = re.search(rf'<script id="{element}"[^>]*>(.*?)</script>', text)
    assert found is not None
    return json.loads(found[1])


def test_dispersion_tells_the_common_k_and_leads_to_each_round(
    desk: Desk, world: World
) -> None:
    counts = _counts()
    _publish(desk, counts)
    text = _dispersion(world)
    k = common_k(counts).k
    assert f"{k:.3f} (standard error" in text
    assert "over 12 rounds" in text
    with stating(world.group.pk):
        uuids = list(Round.objects.values_list("uuid", flat=True))
    assert all(str(uuid) in text for uuid in uuids)
    assert "Fewer than" not in text


def test_dispersion_draws_the_rounds_and_the_laws(desk: Desk, world: World) -> None:
    counts = _counts()
    _publish(desk, counts)
    text = _dispersion(world)
    plot = _json(text, "plot-variance")
    rounds, law = plot["data"][0], plot["data"][1]
    assert rounds["x"] == pytest.approx([np.mean(one) for one in counts])
    assert rounds["y"] == pytest.approx([np.var(one, ddof=1) for one in counts])
    fit = fit_power_law(rounds["x"], rounds["y"])
    assert law["y"][0] == pytest.approx(fit.a * law["x"][0] ** fit.b)
    assert f"mean^{fit.b:.3f}" in text
    assert plot["layout"]["xaxis"]["type"] == "log"
    assert len(_json(text, "plot-crowding")["data"]) == 3


def test_dispersion_says_what_is_missing(desk: Desk, world: World) -> None:
    assert "there is none" in _dispersion(world)
    _publish(desk, [[1, 0, 3], *_counts(2)])
    text = _dispersion(world)
    assert "2 rounds so far: 10 or more" in text
    assert "1 round with fewer than 5 bags counted left out" in text
    assert "none yet: it takes 3 rounds or more" in text
    # An odd wish is taken as the usual one.
    assert "Dispersion: rust mites on leaves" in _dispersion(
        world, organism="x", tissue="y"
    )


def test_dispersion_of_bags_that_do_not_differ(desk: Desk, world: World) -> None:
    _publish(desk, [[4, 5, 4, 5, 5, 4, 5], [9, 8, 9, 8, 9, 9, 8]])
    text = _dispersion(world)
    assert "no clumping is seen" in text
    assert "below chance" not in text
    assert ">even<" in text


def test_a_grower_is_told_by_the_rounds_of_own_farms(desk: Desk, world: World) -> None:
    _publish(desk, _counts(3))
    _publish(desk, _counts(4, seed=6), block="Block 1")
    assert "over 7 rounds" in _dispersion(world, "consultant")
    text = _dispersion(world, "grower")
    assert "over 3 rounds" in text
    assert "Block 1" not in text


def test_leaves_needed_come_from_the_blocks_own_rounds(
    desk: Desk, world: World
) -> None:
    counts = _counts()
    _publish(desk, counts)
    text = _effort(world, density="50")
    bags = units_for_precision(50 * RECOVERY, k=common_k(counts).k, precision=0.25)
    assert f"About {int(np.ceil(bags))} leaves of Block 0 give rust mites" in text
    assert "told by the k common to 12 rounds of this block" in text
    half = _effort(world, density="50", precision_kind="half_width")
    wider = units_for_precision(
        50 * RECOVERY, k=common_k(counts).k, precision=0.25, confidence=0.95
    )
    assert f"About {int(np.ceil(wider))} leaves" in half


def test_a_stated_k_the_power_law_and_patchiness_can_be_asked_for(
    desk: Desk, world: World
) -> None:
    counts = _counts()
    _publish(desk, counts)
    text = _effort(world, density="50", k="0.5")
    bags = units_for_precision(50 * RECOVERY, k=0.5, precision=0.25)
    assert f"About {int(np.ceil(bags))} leaves" in text
    assert "told by the k that you stated" in text
    law = fit_power_law(
        [float(np.mean(one)) for one in counts],
        [float(np.var(one, ddof=1)) for one in counts],
    )
    assert law.b < 2
    by_law = units_for_precision(
        50 * RECOVERY, power_law=(law.a, law.b), precision=0.25
    )
    text = _effort(world, density="50", law="power_law")
    assert f"About {int(np.ceil(by_law))} leaves" in text
    assert "the power law of 12 rounds" in text
    text = _effort(world, density="50", law="patchiness")
    assert "the patchiness regression of 12 rounds" in text


def test_too_few_rounds_of_the_block_borrow_from_those_seen(
    desk: Desk, world: World
) -> None:
    _publish(desk, _counts(4))
    _publish(desk, _counts(11, seed=6), block="Block 1")
    text = _effort(world, density="50")
    assert "15 rounds of the farms that you may see" in text
    own = _effort(world, density="50", rounds="block")
    assert "4 rounds of this block" in own
    assert "Fewer than 10 rounds tell it" in own
    assert "4 rounds of the farms that you may see" in _effort(
        world, "grower", density="50"
    )


def test_without_any_round_a_planning_value_is_named_as_such(world: World) -> None:
    text = _effort(world, density="50")
    assert "a planning value: no round of the farms that you may see tells it" in text
    assert "until one has, they rest on formulas alone" in text
    assert "This block has no threshold for rust mites on leaves" in text
    bare = _effort(world)
    assert "which is not known yet: fill in what you expect" in bare


def test_the_stop_line_is_drawn_tabled_and_tried(desk: Desk, world: World) -> None:
    counts = _counts()
    _publish(desk, counts)
    text = _effort(world, density="50")
    line = _json(text, "plot-precision")["data"][0]
    k = common_k(counts).k
    at = dict(zip(line["x"], line["y"], strict=True))
    assert at[40] == pytest.approx(1 / (0.25**2 - 1 / (k * 40)), rel=1e-3)
    assert f'<td class="number">{int(np.ceil(at[40]))}</td>' in text
    assert "On your own 12 rounds: the standard error came out at" in text
    assert "seed 1" in text
    tried = text[text.index("On your own 12 rounds") :].split("</p>")[0]
    assert tried in _effort(world, density="50")
    other = _effort(world, density="50", seed="2")
    assert "seed 2" in other
    assert tried not in other


def test_a_precision_out_of_reach_is_said(desk: Desk, world: World) -> None:
    _publish(desk, _counts())
    text = _effort(world, density="50", precision_percent="5", most="50")
    assert "Up to 50 bags never reach this precision, which takes more than" in text


def test_the_test_takes_threshold_and_clear_level(desk: Desk, world: World) -> None:
    counts = _counts()
    _publish(desk, counts)
    set_mite_threshold(world, 100)
    text = _effort(world)
    k = common_k(counts).k
    test = sequential_test(
        lower_mean=70 * RECOVERY, upper_mean=100 * RECOVERY, k=k, alpha=0.1, beta=0.1
    )
    shown = re.findall(r"<dd>(-?[\d.]+)</dd>", text)
    assert [float(one) for one in shown[:3]] == pytest.approx(
        [test.slope, test.lower_intercept, test.upper_intercept], rel=1e-3
    )
    lines = _json(text, "plot-test-lines")["data"]
    assert lines[0]["y"][9] == pytest.approx(
        test.upper_intercept + 10 * test.slope, rel=1e-4
    )
    curve = _json(text, "plot-test-chance")["data"]
    assert {len(one["x"]) for one in curve} == {12, 60}
    assert "thinned to 70: called upper" in text
    assert "thinned to 100: called lower" in text
    assert "By the formulas: called upper 10 times in 100 at 70" in text


def test_presence_takes_a_number_of_animals_that_tells(
    desk: Desk, world: World
) -> None:
    _publish(desk, _counts())
    dense = _effort(world, lower="70", upper="150")
    assert "Any animal at all would take" in dense
    asked = _effort(world, lower="70", upper="150", animals="1")
    assert "Only whether a bag holds any animal at all" in asked
    assert "animals on, bags would tell with about" in asked
    sparse = _effort(world, lower="0.2", upper="1")
    assert "Only whether a bag holds any animal at all" in sparse
    assert "Held to be occupied from" not in sparse
    assert "could not be tried there" not in sparse


def test_densities_that_no_bag_tells_apart_are_refused_in_words(
    desk: Desk, world: World
) -> None:
    _publish(desk, _counts())
    text = _effort(world, lower="900000", upper="950000", animals="1", k="500")
    assert "This test cannot be made: 1 or more are found on as good as" in text


def test_a_round_less_dense_than_the_test_is_not_filled_up(
    desk: Desk, world: World
) -> None:
    _publish(desk, _counts(3))
    text = _effort(world, lower="5000", upper="9000")
    assert "No round of your own is as dense as 5,000" in text


def test_counting_a_part_keeps_k_and_says_what_is_scaled(
    desk: Desk, world: World
) -> None:
    counts = _counts()
    _publish(desk, counts)
    k = common_k(counts).k
    text = _effort(world, density="50", counted_percent="10")
    bags = units_for_precision(5 * RECOVERY, k=k, precision=0.25)
    assert f"About {int(np.ceil(bags))} leaves" in text
    assert "scaled up" not in text
    with stating(world.group.pk):
        Tally.objects.filter(organism__code="rust_mites").update(
            scope="random_cells", cells_counted=20, proportion_counted=0.1
        )
    assert "In 12 of them a smaller share of some dishes was counted" in _effort(
        world, density="50"
    )


def test_recoverys_doubt_is_said_to_stay(desk: Desk, world: World) -> None:
    _publish(desk, _counts())
    text = _effort(world, density="50")
    assert "which no number of bags makes smaller" in text
    with stating(world.group.pk):
        mites = Organism.objects.get(code="rust_mites")
        Recovery.objects.create(
            farm_group=world.group,
            organism=mites,
            tissue="leaf",
            fixed_value=0.8,
            origin="stated",
            valid_from=date(2026, 1, 1),
        )
    text = _effort(world, density="50")
    assert "0.80, taken as known" in text
    assert "which no number of bags makes smaller" not in text


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("density", "many", "Enter a number."),
        ("density", "-3", "greater than or equal to 0.001"),
        ("density", "1e999", "Enter a number."),
        ("density", "nan", "Enter a number."),
        ("precision_percent", "0", "greater than or equal to 2"),
        ("precision_kind", "x", "Select a valid choice"),
        ("alpha_percent", "60", "less than or equal to 45"),
        ("counted_percent", "120", "less than or equal to 100"),
        ("animals", "1.5", "Enter a whole number."),
        ("most", "100000", "less than or equal to 200"),
        ("fewest", "80", "The most bags must be more than the fewest."),
        ("lower", "600", "The upper density must be above the lower."),
        ("k", "0", "greater than or equal to 0.01"),
        ("law", "x", "Select a valid choice"),
        ("seed", "-1", "greater than or equal to 0"),
    ],
)
def test_bad_input_is_told_beside_its_question_and_kept(
    world: World, name: str, value: str, sentence: str
) -> None:
    text = _asked(world, {"upper": "500", name: value}, status=422)
    assert sentence in text
    assert "Nothing was worked out" in text
    if name not in {"precision_kind", "law"}:
        assert f'value="{value}"' in text
    assert 'value="500"' in text


def test_odd_corners_answer(desk: Desk, world: World) -> None:
    _publish(desk, _counts(2, bags=6))
    queries: list[dict[str, str]] = [
        {"organism": "thrips", "tissue": "bud"},
        {"most": "200", "fewest": "2", "lower": "0.001", "upper": "1000000"},
        {"counted_percent": "0.1", "density": "0.001", "precision_percent": "2"},
        {"k": "1000", "lower": "1", "upper": "1.0001", "alpha_percent": "0.1"},
        {"k": "0.01", "lower": "1", "upper": "2", "density": "1"},
        {"law": "power_law", "density": "3"},
        {"law": "patchiness", "density": "3"},
        {"animals": "100000", "lower": "1", "upper": "2"},
    ]
    for query in queries:
        _asked(world, query)


def test_the_blocks_page_leads_there(world: World) -> None:
    page = world.client("grower").get(world.url(f"blocks/{world.block.uuid}/"))
    text = page.content.decode()
    assert world.url(f"blocks/{world.block.uuid}/effort/") in text
    assert world.url("dispersion/") in text


def test_a_page_takes_no_more_queries_with_more_rounds(
    desk: Desk, world: World
) -> None:
    set_mite_threshold(world, 100)
    client = world.client("consultant")
    numbers = []
    for rounds, first in ((3, date(2026, 3, 1)), (9, date(2026, 5, 1))):
        _publish(desk, _counts(rounds, seed=rounds), first=first)
        with CaptureQueriesContext(connection) as queries:
            client.get(world.url(f"blocks/{world.block.uuid}/effort/"))
        numbers.append(sum("SELECT" in one["sql"] for one in queries.captured_queries))
    assert numbers[0] == numbers[1]
    # Session, person, membership, two statements of the group; then ten of its own.
    assert numbers[0] <= 15
