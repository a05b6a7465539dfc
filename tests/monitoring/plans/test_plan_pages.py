"""Planning on the pages: what is stored, what is refused, and what stays untouched."""

from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from blocks.models import Block, BlockBoundary
from blocks.tenancy import stating
from monitoring.models import Round, RoundChange, RoundPlan, RoundSetting, SamplePoint
from tests.builders import World, add_block
from tests.tenancy.plan_world import ANSWERS, NOW, TODAY, give_plan

pytestmark = pytest.mark.django_db
FOUND, REDIRECT, REFUSED = 200, 302, 422
# Of the list of what is due, whatever the number of blocks; 4 of them open the door.
MOST_QUERIES = 10


@pytest.fixture(autouse=True)
def _on_the_day() -> Any:
    with time_machine.travel(NOW):
        yield


def _url(world: World) -> str:
    return reverse("plan-round", args=[world.slug, world.block.uuid])


def _send(world: World, role: str = "grower", **other: Any) -> Any:
    answers = ANSWERS | {"plan": "yes"} | other
    kept = {name: value for name, value in answers.items() if value is not None}
    return world.client(role).post(_url(world), kept)


def _plans(world: World) -> list[RoundPlan]:
    with stating(world.group.pk):
        return list(RoundPlan.objects.for_group(world.group.pk).order_by("pk"))


def _places(world: World, plan: RoundPlan) -> list[tuple[int, str, float, float]]:
    with stating(world.group.pk):
        points = SamplePoint.objects.for_group(world.group.pk).filter(plan=plan)
        return [(one.number, one.position, *one.point.coords) for one in points]


def _give_rows(world: World) -> None:
    with stating(world.group.pk):
        Block.objects.filter(pk=world.block.pk).update(
            row_direction_deg=20, row_spacing_m=2.5, vine_spacing_m=1.2
        )


def test_a_round_is_planned_on_one_page(world: World) -> None:
    _give_rows(world)
    assert world.client("grower").get(_url(world)).status_code == FOUND
    answer = _send(world, snapped="on")
    assert answer.status_code == REDIRECT
    (plan,) = _plans(world)
    assert answer["Location"].endswith(f"/plans/{plan.uuid}/")
    assert plan.strata == [["low", 4], ["mid", 4], ["upper", 4]]
    assert (plan.growth_stage, plan.seed, plan.buffer_m) == ("BBCH 81", 7, 5.0)
    assert (plan.row_direction_deg, plan.row_spacing_m) == (20, 2.5)
    assert plan.planned_by == world.people["grower"]
    assert [one[0] for one in _places(world, plan)] == list(range(1, 13))
    page = world.client("lab").get(answer["Location"]).content.decode()
    # 12 bags of 20 minutes, the usual.
    assert "12 leaves from as many vines, about 4 h of the bench" in page
    sheet = world.client("lab").get(f"{answer['Location']}sheet/").content.decode()
    assert "Rows are counted from the west" in sheet


def test_working_it_out_stores_nothing(world: World) -> None:
    answer = _send(world, plan=None, work_out="yes")
    assert answer.status_code == FOUND
    assert "12 leaves from as many vines" in answer.content.decode()
    assert _plans(world) == []


def test_what_is_stored_is_what_was_shown_and_is_drawn_again(world: World) -> None:
    for day in ("2026-08-21", "2026-08-22"):
        assert _send(world, planned_on=day).status_code == REDIRECT
    first, second = _plans(world)
    assert _places(world, first) == _places(world, second)


def test_the_same_vines_are_taken_again(world: World) -> None:
    _send(world)
    (first,) = _plans(world)
    again: dict[str, Any] = {
        "method": "same",
        "same_as": str(first.uuid),
        "seed": "99",
        "bags": None,
    }
    answer = _send(world, planned_on="2026-08-30", aim="precision", **again)
    assert answer.status_code == REDIRECT
    _, second = _plans(world)
    assert second.same_as == first
    assert second.strata == first.strata
    assert _places(world, second) == _places(world, first)
    refused = _send(world, planned_on="2026-09-01", tissue="bud", **again)
    assert "Choose the same tissue" in refused.content.decode()


def test_numbers_follow_from_the_formulas(world: World) -> None:
    # No round tells of clumping: k 0.4 is planned with; recovery 0.55 to 0.85 in the
    # group's laboratory. Karandinos 1976 by hand at 40 a leaf, with m = 40 x recovery:
    # (1/m + 1/0.4)/0.25^2, which is 40 for any m above 20 but for the first term.
    answer = _send(
        world, plan=None, aim="precision", precision_percent="25", density="400"
    )
    assert "41 leaves from as many vines" in answer.content.decode()
    assert "a planning value: no round" in answer.content.decode()
    # 10 from 40 per leaf: k 0.4 makes s = m sqrt(1/m + 2.5), about 1.58 m; z = 1.2816:
    # (1.2816 x 1.58 x 50/30)^2 = 11.4, a little more for the 1/m.
    answer = _send(world, plan=None, aim="threshold", lower="10", upper="40", bags=None)
    assert "12 leaves from as many vines" in answer.content.decode()


def test_without_density_or_threshold_it_says_what_to_write(world: World) -> None:
    page = world.client("grower").get(_url(world))
    assert page.status_code == FOUND
    assert "No density of" in page.content.decode()
    answer = _send(world, aim="threshold")
    assert answer.status_code == REFUSED
    assert "no threshold for" in answer.content.decode()


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "no day": ({"planned_on": ""}, "Choose a day."),
    "no date": ({"planned_on": "soon"}, "Write the date as"),
    "long ago": ({"planned_on": "2020-01-01"}, "is too far away"),
    "impossible day": ({"planned_on": "2026-02-30"}, "Write the date as"),
    "unknown tissue": ({"tissue": "root"}, "Select a valid choice"),
    "unknown organism": ({"organism": "cats"}, "Select a valid choice"),
    "no position": ({"positions": []}, "A leaf has a canopy position"),
    "unknown position": ({"positions": ["top"]}, "Select a valid choice"),
    "no stage": ({"growth_stage": "BBCH 999"}, "is not a growth stage"),
    "unknown aim": ({"aim": "luck"}, "Select a valid choice"),
    "no precision": (
        {"aim": "precision", "density": "5", "precision_percent": ""},
        "Write the precision wanted.",
    ),
    "zero precision": ({"precision_percent": "0"}, "greater than or equal to 5"),
    "not a number": ({"precision_percent": "nan"}, "Write a number"),
    "out of reach": (
        {"aim": "precision", "density": "5", "precision_percent": "5"},
        "leaves would be needed to",
    ),
    "unending": ({"aim": "threshold", "lower": "9.99", "upper": "10"}, "be needed to"),
    "hardly any": (
        {"aim": "precision", "density": "0.001", "precision_percent": "25"},
        "be needed to",
    ),
    "upside down": (
        {"aim": "threshold", "lower": "9", "upper": "3"},
        "The upper density must be above the lower.",
    ),
    "no number": ({"bags": ""}, "Write how many bags to take."),
    "too many": ({"bags": "100000"}, "less than or equal to 200"),
    "unknown method": ({"method": "luck"}, "Select a valid choice"),
    "same without plan": ({"method": "same"}, "Select a valid choice"),
    "negative distance": ({"buffer_m": "-1"}, "greater than or equal to 0"),
    "distance in words": ({"buffer_m": "two rows"}, "Write a number"),
    "beyond the middle": ({"buffer_m": "60"}, "No place of the block lies 60 m"),
    "negative seed": ({"seed": "-1"}, "greater than or equal to 0"),
    "huge seed": ({"seed": "9" * 40}, "less than or equal to"),
    "nothing at all": (dict.fromkeys(ANSWERS), "This field is required."),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused_in_words_and_loses_nothing(
    world: World, case: str
) -> None:
    changed, words = BAD[case]
    answer = _send(world, **changed)
    page = answer.content.decode()
    assert answer.status_code == REFUSED
    assert words in page
    assert _plans(world) == []
    if "seed" not in changed:
        assert 'value="7"' in page


def test_a_block_without_boundary_says_so(world: World) -> None:
    with stating(world.group.pk):
        BlockBoundary.objects.for_group(world.group.pk).delete()
    answer = _send(world)
    assert answer.status_code == REFUSED
    assert "The block has no boundary yet" in answer.content.decode()


def test_one_plan_a_day_and_tissue(world: World) -> None:
    assert _send(world).status_code == REDIRECT
    answer = _send(world)
    assert answer.status_code == REFUSED
    assert "is planned for this block and day already" in answer.content.decode()
    assert _send(world, tissue="bud").status_code == REDIRECT
    assert _plans(world)[1].strata == [["", 12]]


def test_a_plan_is_put_off_and_withdrawn(world: World) -> None:
    _send(world)
    _send(world, planned_on="2026-08-25")
    first, second = _plans(world)
    client = world.client("consultant")
    move = reverse("put-off-plan", args=[world.slug, first.uuid])
    taken = client.post(move, {"to": "2026-08-25"})
    assert taken.status_code == REFUSED
    assert "planned for this block and day already" in taken.content.decode()
    assert client.post(move, {"to": "3020-01-01"}).status_code == REFUSED
    assert client.post(move, {"to": "2026-08-26"}).status_code == REDIRECT
    end = reverse("withdraw-plan", args=[world.slug, second.uuid])
    for words in ("Withdrawn. The plan stays", "was withdrawn. Plan the round anew"):
        page = client.post(end, follow=True)
        assert page.status_code == FOUND
        assert words in page.content.decode()
    assert (
        client.post(
            reverse("put-off-plan", args=[world.slug, second.uuid]),
            {"to": "2026-08-29"},
        ).status_code
        == 409
    )
    # A withdrawn plan leaves its day free.
    assert _send(world, planned_on="2026-08-25").status_code == REDIRECT
    days = [str(one.planned_on) for one in _plans(world) if not one.withdrawn_at]
    assert sorted(days) == ["2026-08-25", "2026-08-26"]


def test_a_plan_is_no_round_and_changes_no_figure(world: World) -> None:
    client = world.client("coordinator")
    pages = [world.url(), world.url(f"blocks/{world.block.uuid}/")]
    before = [client.get(page).status_code for page in pages]
    with stating(world.group.pk):
        give_plan(world)
        assert not Round.objects.for_group(world.group.pk).exists()
        assert not RoundChange.objects.for_group(world.group.pk).exists()
    assert [client.get(page).status_code for page in pages] == before


def test_what_is_due_is_listed_with_few_queries(world: World) -> None:
    with stating(world.group.pk):
        give_plan(world)
    client, page = world.client("coordinator"), reverse("rounds-due", args=[world.slug])
    client.get(page)
    with CaptureQueriesContext(connection) as few:
        shown = client.get(page).content.decode()
    assert "in 5 days, on 21 August 2026" in shown
    for number in range(5):
        add_block(world.farms[0], f"Further {number}", west=11 + number / 100)
    with CaptureQueriesContext(connection) as many:
        client.get(page)
    assert len(many) == len(few)
    asked = [
        one
        for one in many.captured_queries
        if not one["sql"].startswith(("BEGIN", "COMMIT", "SELECT set_config"))
    ]
    assert len(asked) <= MOST_QUERIES


@pytest.mark.parametrize(
    ("given", "status"),
    [
        ({"interval_days": "10", "minutes_per_bag": "30"}, REDIRECT),
        ({"interval_days": "", "minutes_per_bag": ""}, REDIRECT),
        ({"interval_days": "0"}, REFUSED),
        ({"interval_days": "400"}, REFUSED),
        ({"interval_days": "weekly"}, REFUSED),
        ({"minutes_per_bag": "-3"}, REFUSED),
        ({"minutes_per_bag": "inf"}, REFUSED),
    ],
)
def test_habits_are_set_or_refused(
    world: World, given: dict[str, str], status: int
) -> None:
    page = reverse("round-habits", args=[world.slug])
    assert world.client("coordinator").post(page, given).status_code == status


def test_a_blocks_own_interval_goes_before_the_groups(world: World) -> None:
    client, page = (
        world.client("coordinator"),
        reverse("round-habits", args=[world.slug]),
    )
    client.post(page, {"interval_days": "14", "minutes_per_bag": "30"})
    for days in ("9", "7"):
        client.post(f"{page}?block={world.block.uuid}", {"interval_days": days})
    with stating(world.group.pk):
        rows = RoundSetting.objects.for_group(world.group.pk).order_by("interval_days")
        assert [(one.block_id, one.interval_days) for one in rows] == [
            (world.block.pk, 7),
            (None, 14),
        ]
    assert client.get(f"{page}?block=no-uuid").status_code == FOUND
    _send(world)
    assert _plans(world)[0].minutes_per_bag == 30
    assert _plans(world)[0].planned_on > TODAY
