"""The demo's reference dishes: some are met, some are to go, and some wait."""

from collections.abc import Callable

import pytest

from blocks.services.groups import add_member
from blocks.tenancy import stating
from deploy.demo.people import PEOPLE
from deploy.demo.training import DISHES, load_training
from monitoring.models import AgreementStandard, ReferenceDish, ReferenceReading
from monitoring.pages.training_record import of_readings, standings_of
from tests.builders import Role, World, make_user

pytestmark = pytest.mark.django_db
STANDARD = {"least_concordance": 0.95, "widest_ratio": 1.5, "valid_from": "2026-01-01"}


@pytest.fixture
def staffed(make_world: Callable[..., World]) -> World:
    world = make_world("Demo")
    for person in PEOPLE[:3]:
        user = make_user(person.name)
        user.email = person.email
        user.save(update_fields=["email"])
        add_member(world.group, user=user, role=Role(person.role))
    return world


def test_three_people_have_come_three_different_ways(staffed: World) -> None:
    dishes = load_training(staffed.group)
    assert len(dishes) == DISHES
    with stating(staffed.group.pk):
        standard = AgreementStandard.objects.create(
            farm_group=staffed.group, **STANDARD
        )
        verdicts = {}
        for person in PEOPLE[:3]:
            readings = ReferenceReading.objects.filter(
                reader__email=person.email
            ).order_by("pk")
            mites = standings_of(of_readings(readings), standard)[0]
            verdicts[person.name] = (mites.organism.code, mites.verdict, mites.dishes)
    coordinator, senior, newer = (person.name for person in PEOPLE[:3])
    assert verdicts[senior] == ("rust_mites", "met", 12)
    assert verdicts[newer] == ("rust_mites", "not settled", 7)
    assert verdicts[coordinator] == ("rust_mites", "not met", 11)


def test_some_dishes_wait_for_whoever_looks_around(staffed: World) -> None:
    load_training(staffed.group)
    with stating(staffed.group.pk):
        waiting = ReferenceDish.objects.filter(readings=None)
        assert waiting.count() == 2
        assert not ReferenceDish.objects.exclude(withdrawn_at=None).exists()
