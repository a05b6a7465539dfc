"""Give the bags that wait for their counts labels, as a laboratory prints them."""

from blocks.models import FarmGroup
from blocks.tenancy import stating
from deploy.demo.people import PEOPLE
from deploy.demo.replaying import as_member
from monitoring.queries.bags import waiting
from monitoring.services.bags import give_labels

ANALYST = PEOPLE[1]


def label_waiting_bags(group: FarmGroup) -> None:
    """Let each round with a waiting bag have labels; their codes are drawn anew."""
    with stating(group.pk):
        analyst = as_member(group, ANALYST)
        for of_round in {bag.round for bag in waiting(analyst)}:
            give_labels(analyst, of_round)
