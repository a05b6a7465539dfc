"""Recoveries shared or not, the checks beside a ratio, and its words."""

from html import unescape
from typing import Any

import numpy as np
import pytest

from blocks.tenancy import stating
from monitoring.densities.store import compute_changed
from monitoring.models import Ratio, RatioSetting
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db
# T08-01 of the published checks: leaves with both animals.
PREDATORS = [2, 0, 1, 3, 1, 0, 2, 1, 4, 0, 1, 2]
PREY = [30, 12, 45, 60, 22, 8, 51, 17, 80, 5, 33, 40]


def _count(desk: Desk, predators: list[int], prey: list[int]) -> None:
    rows = [
        bag_row(bag=number, predatory_mites=one, rust_mites=other)
        for number, (one, other) in enumerate(zip(predators, prey, strict=True))
    ]
    desk.publish(desk.upload(bag_sheet(*rows)))
    compute_changed(desk.world.group.pk)


def _ratio(world: World) -> Ratio:
    with stating(world.group.pk):
        found: Ratio = Ratio.objects.select_related("round").get(is_current=True)
    return found


def _page(world: World, path: str) -> str:
    answer = world.client("grower").get(world.url(path))
    assert answer.status_code == 200
    return " ".join(unescape(answer.content.decode()).split())


def _working(world: World) -> str:
    return _page(world, f"ratios/{_ratio(world).uuid}/")


def _state(world: World, **values: Any) -> int:
    usual = {"shared": "yes", "note": "measured side by side"}
    sent = usual | {"valid_from": "2026-08-01"} | values
    answer = world.client("coordinator").post(world.url("laboratory/ratio/"), sent)
    compute_changed(world.group.pk)
    return answer.status_code


def _width(ratio: Ratio) -> float:
    assert ratio.high is not None
    assert ratio.low
    return ratio.high / ratio.low


def test_recoveries_are_independent_until_stated_as_shared(desk: Desk) -> None:
    _count(desk, PREDATORS, PREY)
    before = _ratio(desk.world)
    assert before.used["shared_recovery"] is False
    assert "taken as independent" in _working(desk.world)
    assert _state(desk.world) == 302
    after = _ratio(desk.world)
    assert after.used["shared_recovery"] is True
    assert after.inputs_digest != before.inputs_digest
    assert _width(after) < _width(before)
    assert "taken as one and the same" in _working(desk.world)


def test_it_holds_from_its_date_and_can_be_taken_back(desk: Desk) -> None:
    _count(desk, PREDATORS, PREY)
    first = _ratio(desk.world)
    _state(desk.world, valid_from="2026-08-15")
    assert _ratio(desk.world).pk == first.pk
    _state(desk.world)
    _state(desk.world, shared="no", note="not so after all")
    again = _ratio(desk.world)
    assert again.inputs_digest == first.inputs_digest
    assert (again.low, again.high) == (first.low, first.high)
    with stating(desk.world.group.pk):
        assert RatioSetting.objects.count() == 3


def test_unlike_figures_are_not_shared(desk: Desk) -> None:
    world = desk.world
    _count(desk, PREDATORS, PREY)
    with stating(world.group.pk):
        organism = _ratio(world).predator_id
    world.client("coordinator").post(
        world.url("laboratory/recoveries/add/"),
        {
            "organism": organism,
            "tissue": "leaf",
            "fixed_value": "0.7",
            "valid_from": "2026-08-01",
            "note": "a test",
        },
    )
    _state(world)
    assert _ratio(world).used["shared_recovery"] is False
    assert "their figures differ" in _working(world)


@pytest.mark.parametrize(
    "values",
    [{"shared": "perhaps"}, {"note": ""}, {"valid_from": "soon"}, {"shared": ""}],
)
def test_what_is_no_statement_is_refused(desk: Desk, values: dict[str, str]) -> None:
    assert _state(desk.world, **values) == 422
    with stating(desk.world.group.pk):
        assert not RatioSetting.objects.exists()


def test_the_laboratory_says_what_is_stated(desk: Desk) -> None:
    client = desk.world.client("lab")
    page = desk.world.url("laboratory/")
    assert "Independent:" in client.get(page).content.decode()
    _state(desk.world)
    assert "measured side by side" in client.get(page).content.decode()


def test_the_leaves_correlation_is_that_of_the_bags(desk: Desk) -> None:
    """Spearman's is Pearson's of the midranks, written out here."""

    def midranks(values: list[int]) -> list[float]:
        return [
            sum(other < one for other in values)
            + (sum(other == one for other in values) + 1) / 2
            for one in values
        ]

    _count(desk, PREDATORS, PREY)
    expected = np.corrcoef(midranks(PREDATORS), midranks(PREY))[0, 1]
    assert _ratio(desk.world).used["rank_correlation"] == pytest.approx(expected)


def test_fieller_and_log_delta_stand_beside_the_ratio(desk: Desk) -> None:
    """T08-01's values; both recoveries are alike, so they divide out."""
    _count(desk, PREDATORS, PREY)
    page = _working(desk.world)
    assert "0.04218 (0.02964 to 0.05088)" in page
    assert "0.04218 (0.03374 to 0.05275)" in page
    assert "the 12 bags with both counts" in page


@pytest.mark.parametrize(
    ("predators", "prey", "words"),
    [
        ([0, 0, 0, 0], [9, 30, 12, 4], "No predators found: upper limit only"),
        ([1, 0, 2, 1], [0, 0, 0, 0], "No prey found: there is no ratio to give"),
        ([0, 0, 0, 0], [0, 0, 0, 0], "Neither prey nor predators found"),
    ],
)
def test_nothing_found_has_an_answer_in_words(
    desk: Desk, predators: list[int], prey: list[int], words: str
) -> None:
    _count(desk, predators, prey)
    world = desk.world
    page = _working(world)
    assert words in page
    assert "needs two bags with both counts, predators and prey among them" in page
    assert ("says nothing where no predators were found" in page) == (
        not any(predators)
    )
    listed = words.split(":", maxsplit=1)[0].lower()
    assert listed in _page(world, f"blocks/{world.block.uuid}/")
    assert listed in _page(world, f"rounds/{_ratio(world).round.uuid}/")
    answer = world.client("grower").get(
        f"/api/g/{world.slug}/blocks/{world.block.uuid}/ratios/"
    )
    (row,) = answer.json()["results"]
    assert row["reason"].startswith(listed)
    assert (row["median_predators_per_prey"] is None) == (not any(prey))


def test_one_bag_gives_no_classic_interval_and_no_error(desk: Desk) -> None:
    _count(desk, [1], [3])
    assert "needs two bags with both counts" in _working(desk.world)


def test_the_api_gives_ratios_with_interval_correlation_and_method(desk: Desk) -> None:
    _count(desk, PREDATORS, PREY)
    world = desk.world
    url = f"/api/g/{world.slug}/blocks/{world.block.uuid}/ratios/"
    answer = world.client("grower").get(url, {"organism": "predatory_mites"})
    (row,) = answer.json()["results"]
    assert row["predator"] == "predatory_mites"
    assert row["prey"] == "rust_mites"
    assert (
        row["low_predators_per_prey"]
        < row["median_predators_per_prey"]
        < row["high_predators_per_prey"]
    )
    assert row["recoveries_shared"] is False
    assert row["rank_correlation"] > 0.5
    assert row["inputs_digest"] == _ratio(world).inputs_digest
    assert world.client("grower").get(url, {"organism": "thrips"}).json()["count"] == 0
    assert world.client("grower").get(url, {"since": "x"}).status_code == 400


@pytest.mark.parametrize("role", ["lab", "consultant", "grower"])
def test_only_a_coordinator_states_it(world: World, role: str) -> None:
    answer = world.client(role).post(world.url("laboratory/ratio/"), {"shared": "yes"})
    assert answer.status_code == 403


def test_another_farms_ratios_look_missing(desk: Desk) -> None:
    other = desk.world.blocks[1].uuid
    url = f"/api/g/{desk.world.slug}/blocks/{other}/ratios/"
    assert desk.world.client("grower").get(url).status_code == 404
