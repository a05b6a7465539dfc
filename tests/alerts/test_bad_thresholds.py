"""Thresholds that cannot be meant are refused beside their field, or cautioned of."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from alerts.models import Message, Threshold, ThresholdVersion, Transition
from blocks.tenancy import stating
from monitoring.models import Organism
from tests.alerts.conftest import (
    HIGH,
    judge,
    let_subscribe,
    publish,
    set_mite_threshold,
)
from tests.alerts.test_pages import VALUES, add
from tests.builders import World

pytestmark = pytest.mark.django_db


def versions(world: World) -> int:
    with stating(world.group.pk):
        return ThresholdVersion.objects.count()


def ratio(world: World, **values: object) -> dict[str, object]:
    with stating(world.group.pk):
        keys = dict(Organism.objects.values_list("code", "pk"))
    usual = {
        "kind": "ratio",
        "organism": keys["predatory_mites"],
        "prey": keys["rust_mites"],
        "level": "100",
    }
    return usual | values


REFUSED = [
    pytest.param("level", "nan", "Write a number", id="T01-nan"),
    pytest.param("level", "inf", "Write a number", id="T01-inf"),
    pytest.param("level", "", "This field is required", id="T01-empty"),
    pytest.param("level", "1e400", "Write a number", id="T01-too-large-for-a-float"),
    pytest.param("level", "-3", "Write 0 or more", id="T02-negative"),
    pytest.param("clear_level", "-3", "Write 0 or more", id="T02-negative-clear-level"),
    pytest.param("clear_level", "200", "must be below the threshold", id="T03-above"),
    pytest.param("clear_level", "150", "must be below the threshold", id="T03-equal"),
    pytest.param("level", "150 per cm2", "without a unit", id="T06-unit"),
    pytest.param("certainty", "100", "less than or equal to 99", id="certainty-sure"),
    pytest.param("certainty", "0", "greater than or equal to 1", id="certainty-none"),
    pytest.param("minimum_bags", "0", "greater than or equal to 1", id="no-bags"),
    pytest.param("minimum_bags", "5.5", "whole number", id="half-a-bag"),
    pytest.param("season_from", "13-01", "is not a month and a day", id="month-13"),
    pytest.param("season_from", "05-32", "is not a month and a day", id="day-32"),
    pytest.param("season_until", "31.12.", "is not a month and a day", id="dots"),
    pytest.param("reason", "x" * 301, "at most 300 characters", id="long-reason"),
    pytest.param("reason", "a\x00b", "Null characters", id="null-character"),
    pytest.param("tissue", "root", "not one of the available", id="tissue"),
    pytest.param("organism", "999999", "not one of the available", id="organism"),
    pytest.param("organism", "x", "not one of the available", id="organism-no-key"),
]


@pytest.mark.parametrize(("field", "value", "sentence"), REFUSED)
def test_a_value_is_refused_beside_its_field(
    world: World, field: str, value: str, sentence: str
) -> None:
    answer = add(world, "coordinator", **{field: value})
    assert answer.status_code == 422
    assert sentence in " ".join(answer.context["form"].errors[field])
    assert versions(world) == 0


@pytest.mark.parametrize(
    ("changes", "field", "sentence"),
    [
        ({"level": "0"}, "level", "0 or more"),
        ({"level": "100", "clear_level": "0"}, "clear_level", "a number above 0"),
        ({"level": "100", "clear_level": "200"}, "clear_level", "more predators"),
        ({"prey": ""}, "prey", "A ratio needs a prey"),
        ({"prey": "same"}, "prey", "two organisms"),
        ({"swapped": True}, "organism", "as pest, not as predator"),
    ],
)
def test_a_ratio_is_refused_beside_its_field(
    world: World, changes: dict[str, Any], field: str, sentence: str
) -> None:
    values = ratio(world, **changes)
    if values["prey"] == "same":
        values["prey"] = values["organism"]
    if values.pop("swapped", False):
        values["prey"], values["organism"] = values["organism"], values["prey"]
    answer = add(world, "coordinator", **values)
    assert answer.status_code == 422
    assert sentence in " ".join(answer.context["form"].errors[field])
    assert versions(world) == 0


def test_a_ratio_is_asked_as_prey_to_one_predator(world: World) -> None:
    assert add(world, "coordinator", **ratio(world, level="200")).status_code == 200
    with stating(world.group.pk):
        version = ThresholdVersion.objects.select_related("threshold").get()
    assert version.level == pytest.approx(1 / 200)
    assert version.clear_level == pytest.approx(1 / 140)
    path = world.url(f"thresholds/{version.threshold.uuid}/")
    page = world.client("coordinator").get(path)
    assert page.context["form"].initial["level"] == 200
    assert page.context["form"].initial["clear_level"] == 140


def test_a_block_of_another_farm_is_refused(world: World) -> None:
    answer = add(world, "coordinator", farm=world.farms[0].pk, block=world.blocks[1].pk)
    assert answer.status_code == 422
    assert "is not a block of" in answer.context["form"].errors["block"][0]


def test_t04_a_threshold_of_0_is_cautioned_of(world: World) -> None:
    answer = add(world, "coordinator", level="0")
    assert answer.status_code == 200
    assert "this always raises" in answer.content.decode()
    with stating(world.group.pk):
        assert ThresholdVersion.objects.get().clear_level == 0


@pytest.mark.parametrize(
    ("mites", "predators", "alerts"),
    [([0] * 6, 0, 0), ([0] * 6, 3, 0), (HIGH, 0, 1)],
)
def test_t05_a_ratio_without_prey_or_predators_has_a_defined_end(
    world: World, mites: list[int], predators: int, alerts: int
) -> None:
    add(world, "coordinator", **ratio(world, level="100"))
    publish(world, mites, predators=predators)
    assert judge(world) == alerts
    if alerts:
        with stating(world.group.pk):
            sentence = Transition.objects.get().sentence
        assert "no predatory mites found against the rust mites" in sentence


def test_t07_more_bags_than_any_round_has_is_cautioned_of(world: World) -> None:
    publish(world, HIGH)
    answer = add(world, "coordinator", minimum_bags="7")
    assert "it can never raise" in answer.content.decode()
    answer = add(world, "coordinator", minimum_bags="6", farm=world.farms[0].pk)
    assert "it can never raise" not in answer.content.decode()


@pytest.fixture
def change(world: World) -> Callable[..., Any]:
    """Send the form of the one threshold, as a page that saw a version would."""
    set_mite_threshold(world)
    with stating(world.group.pk):
        path = world.url(f"thresholds/{Threshold.objects.get().uuid}/")

    def send(**values: object) -> Any:
        return world.client("coordinator").post(path, {**VALUES, **values})

    return send


def test_t08_the_second_of_two_changes_is_told(
    world: World, change: Callable[..., Any]
) -> None:
    assert change(seen_number=1, level="100").status_code == 302
    late = change(seen_number=1, level="200")
    assert late.status_code == 409
    page = late.content.decode()
    assert "Somebody changed this threshold while you looked at it" in page
    # The other's value and one's own are both on the page.
    assert "100 per leaf" in page
    assert 'value="200"' in page
    assert versions(world) == 2
    assert change(seen_number=2, level="200").status_code == 302


@pytest.mark.parametrize("seen", ["", "x", "-1", "9" * 30, "1.0"])
def test_a_version_that_nobody_saw_changes_nothing(
    world: World, change: Callable[..., Any], seen: str
) -> None:
    assert change(seen_number=seen).status_code == 409
    assert versions(world) == 1


def test_a_removed_threshold_is_set_anew_and_not_changed(
    world: World, change: Callable[..., Any]
) -> None:
    with stating(world.group.pk):
        uuid = Threshold.objects.get().uuid
    client = world.client("coordinator")
    remove = world.url(f"thresholds/{uuid}/remove/")
    assert client.post(remove, {"reason": "a\x00b"}).status_code == 422
    assert client.post(remove, {"reason": "no longer"}).status_code == 302
    assert client.post(remove).status_code == 302
    assert versions(world) == 2
    assert change(seen_number=2).status_code == 409
    assert add(world, "coordinator").status_code == 200
    with stating(world.group.pk):
        assert Threshold.objects.count() == 1
        assert ThresholdVersion.objects.latest("number").number == 3
    assert add(world, "coordinator").status_code == 409


def test_t09_a_threshold_on_old_rounds_raises_and_tells_nobody(world: World) -> None:
    let_subscribe(world, "consultant")
    publish(world, HIGH, on=timezone.localdate() - timedelta(days=40))
    assert add(world, "coordinator", level="50").status_code == 200
    with stating(world.group.pk):
        assert Transition.objects.get().quiet
        assert not Message.objects.exists()


def test_t12_an_alert_whose_threshold_is_removed_says_so(world: World) -> None:
    set_mite_threshold(world)
    publish(world, HIGH)
    judge(world)
    with stating(world.group.pk):
        uuid = Threshold.objects.get().uuid
    world.client("coordinator").post(
        world.url(f"thresholds/{uuid}/remove/"), {"reason": "sold the vines"}
    )
    with stating(world.group.pk):
        last = Transition.objects.latest("pk")
    assert last.kind == "removed"
    assert "no threshold for rust mites per leaf holds here any more" in last.sentence
    assert "sold the vines" in last.reason
