"""The demo's treatments are those that its stories simulate."""

from deploy.demo.places import BLOCKS
from deploy.demo.stories import STORIES
from deploy.demo.treatments import treatments
from monitoring.models import Treatment

FARM_OF = {place.name: place.farm for place in BLOCKS}


def test_every_treatment_of_the_stories_is_recorded() -> None:
    told = {
        (name, season, one.day)
        for name, seasons in STORIES.items()
        for season, story in enumerate(seasons)
        for one in story.treatments
    }
    recorded = [(one.block, one.season, one.day) for one in treatments()]
    assert sorted(recorded) == sorted(told)


def test_products_are_of_the_kinds_and_units_that_can_be_recorded() -> None:
    for one in treatments():
        assert one.product.category in Treatment.Category.values
        assert one.product.rate_unit in Treatment.RateUnit.values


def test_checks_are_untreated_neighbours_of_that_season() -> None:
    treated = {(one.block, one.season) for one in treatments()}
    checks = {(one.block, one.season, one.check) for one in treatments() if one.check}
    assert checks
    for block, season, check in checks:
        assert FARM_OF[check] == FARM_OF[block]
        assert (check, season) not in treated
