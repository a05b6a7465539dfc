"""Enter the wash batches of the newest counted rounds; all invented.

Count sheets told already how each bag was washed. A batch says it of all that were
washed alike, and adds what sheets have no column for.
"""

from datetime import date
from itertools import groupby

from blocks.models import FarmGroup
from blocks.tenancy import stating
from deploy.demo.people import PEOPLE
from deploy.demo.replaying import as_member
from monitoring.models import Round, Wash, WashBatch
from monitoring.services.washing import Washed, enter_batch

ROUNDS = 4
PIECE_CM = 2.5
NOTE = "Invented, like everything in this farm group."


def load_washing(group: FarmGroup) -> list[WashBatch]:
    """Enter a batch for each day, person and way of washing of some rounds."""
    with stating(group.pk):
        member = as_member(group, PEOPLE[1])
        rounds = (
            Round.objects.for_group(group.pk)
            .filter(bags__tissue="leaf", bags__washes__washed_on__isnull=False)
            .order_by("-collected_on", "pk")
            .distinct()[:ROUNDS]
        )
        return [
            enter_batch(member, visit, [wash.bag_id for wash in alike], washed)
            for visit in rounds
            for washed, alike in _alike(group, visit)
        ]


def _alike(group: FarmGroup, visit: Round) -> list[tuple[Washed, list[Wash]]]:
    washes = Wash.objects.for_group(group.pk).filter(bag__round=visit, number=1)
    known = washes.exclude(washed_on=None).exclude(analyst_name="")
    return [
        (_washed(key), list(alike))
        for key, alike in groupby(sorted(known, key=_how), key=_how)
    ]


def _how(wash: Wash) -> tuple[date, str, float, float, float]:
    return (
        wash.washed_on or date.min,
        wash.analyst_name,
        wash.alcohol_percent or 0.0,
        wash.volume_ml or 0.0,
        wash.shake_s or 0.0,
    )


def _washed(how: tuple[date, str, float, float, float]) -> Washed:
    day, name, alcohol_percent, volume_ml, shake_s = how
    return Washed(
        washed_on=day,
        analyst_name=name,
        alcohol_percent=alcohol_percent,
        volume_ml=volume_ml,
        shake_s=shake_s,
        piece_cm=PIECE_CM,
        note=NOTE,
    )
