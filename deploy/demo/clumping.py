"""Let the invented coordinator hold what last season told of clumping."""

from datetime import date

from blocks.access import Member
from deploy.demo.almanac import THIS_SEASON, TOURS, date_of
from monitoring.models import Organism, Tissue
from monitoring.services.clumping import learn_from_rounds

# The organisms of which last season's leaves told enough.
LEARNED = ("rust_mites", "thrips")


def learning_day(*, today: date) -> date:
    """Give the day before this season's first tour sets out."""
    first = min(tour.day for tour in TOURS if tour.season == THIS_SEASON)
    return date_of(THIS_SEASON, first - 1, today=today)


def learn_from_last_season(coordinator: Member, *, today: date) -> None:
    """Learn from last season's leaves, and hold it for this season."""
    organisms = {
        one.code: one for one in Organism.objects.for_group(coordinator.group_id)
    }
    for code in LEARNED:
        learn_from_rounds(
            coordinator,
            organism=organisms[code],
            tissue=Tissue.LEAF,
            valid_from=learning_day(today=today),
        )
