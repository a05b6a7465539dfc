"""Against whose recounts others are held, when that person has gone."""

import pytest

from blocks.models import Membership
from blocks.tenancy import stating
from monitoring.services.training import choose_senior
from tests.builders import World
from tests.monitoring.training.desk import member

pytestmark = pytest.mark.django_db


def test_a_senior_who_counts_no_longer_stays_chosen_until_another_is(
    world: World,
) -> None:
    senior = world.people["lab"]
    with stating(world.group.pk):
        choose_senior(member(world, "coordinator"), senior)
        Membership.objects.filter(user=senior).update(valid_until="2026-01-01")
    client = world.client("coordinator")
    url = world.url("laboratory/training/senior/")
    page = client.get(url).content.decode()
    assert (
        f'<option value="{senior.uuid}" selected>{senior.name}, who counts here'
        " no longer</option>"
    ) in page
    assert client.post(url, {"person": str(senior.uuid)}).status_code == 302
