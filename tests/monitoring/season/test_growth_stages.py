"""Growth stages: two scales, set on a round's page, with what stood before."""

import pytest
from django.urls import reverse

from blocks.tenancy import stating
from monitoring.growth_stages import ROUGHLY_ALIKE, SCALES, STAGE_OF, words_of
from monitoring.models import GrowthStageChange, Round
from monitoring.sheets.checking.values import growth_stage
from tests.builders import World
from tests.desks import Desk, bag_row, bag_sheet

pytestmark = pytest.mark.django_db


@pytest.fixture
def visited(desk: Desk, world: World) -> Round:
    desk.publish(desk.upload(bag_sheet(bag_row(growth_stage="BBCH 75"))))
    with stating(world.group.pk):
        found: Round = Round.objects.get()
    return found


def _set(world: World, one: Round, stage: str, role: str = "lab") -> str:
    url = reverse("set-growth-stage", args=[world.slug, one.uuid])
    answer = world.client(role).post(url, {"stage": stage}, follow=True)
    return " ".join(answer.content.decode().split())


def test_every_stage_is_read_back_as_it_is_written() -> None:
    for scale, stages in SCALES.items():
        numbers = [int(stage.code) for stage in stages]
        assert numbers == sorted(set(numbers))
        for stage in stages:
            assert growth_stage(stage.written) == (scale, stage.code)
            assert stage.words
    assert all(one in STAGE_OF and other in STAGE_OF for one, other in ROUGHLY_ALIKE)


def test_words_of_stages_between_those_of_the_list() -> None:
    assert words_of("BBCH 75") == "berries the size of peas"
    assert words_of("BBCH 76") == "after “berries the size of peas”"
    assert words_of("EL 23") == "full bloom: 50 in 100 caps off"
    assert words_of("") == words_of("XX 3") == words_of("BBCH x") == ""


def test_the_lab_sets_a_stage_and_who_did_is_kept(world: World, visited: Round) -> None:
    page = _set(world, visited, "BBCH 77")
    assert "Growth stage: BBCH 77." in page
    assert "BBCH 77: berries begin to touch. Every bag" in page
    assert "changed it from BBCH 75 to BBCH 77" in page
    _set(world, visited, "BBCH 77")
    with stating(world.group.pk):
        (change,) = GrowthStageChange.objects.all()
    assert change.changed_by_id == world.people["lab"].pk


def test_the_other_scale_and_none_may_be_given(world: World, visited: Round) -> None:
    _set(world, visited, "E-L 33", "coordinator")
    with stating(world.group.pk):
        visited.refresh_from_db()
    assert visited.growth_stage == "EL 33"
    assert "taken away" in _set(world, visited, "")
    with stating(world.group.pk):
        visited.refresh_from_db()
    assert visited.growth_stage == ""


@pytest.mark.parametrize("stage", ["BBCH 120", "EL 0", "ripe", "75", "BBCH 7\x00"])
def test_a_stage_of_no_scale_is_refused_in_words(
    world: World, visited: Round, stage: str
) -> None:
    url = reverse("set-growth-stage", args=[world.slug, visited.uuid])
    answer = world.client("lab").post(url, {"stage": stage})
    assert answer.status_code == 422
    with stating(world.group.pk):
        visited.refresh_from_db()
        assert visited.growth_stage == "BBCH 75"


def test_a_stage_without_words_is_offered_as_it_was_counted(
    world: World, visited: Round
) -> None:
    page = _set(world, visited, "BBCH 54")
    assert 'optgroup label="as counted"' in page
    assert '<option value="BBCH 54" selected>' in page


def test_readers_see_the_stage_and_no_field(world: World, visited: Round) -> None:
    url = reverse("round", args=[world.slug, visited.uuid])
    page = world.client("grower").get(url).content.decode()
    assert "BBCH 75: berries the size of peas" in page
    assert 'name="stage"' not in page
