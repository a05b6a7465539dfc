"""Give a bag the place where the phone was when it was collected."""

from math import cos, radians

from django.contrib.gis.geos import Point

from monitoring.models import Bag
from monitoring.queries.maps import boundary_of
from monitoring.services.bench_act import Act, Outcome

# A planned vine is known better than what is told less well than this.
WORST_ACCURACY_M = 50.0
# Outside the block by more, the phone was not at the vine: the round was ticked off
# elsewhere, or it was told a place from its network's address.
MOST_OUTSIDE_M = 200.0
MERCATOR, FARTHEST_NORTH = 3857, 85.0


def place(act: Act, bag: Bag) -> Outcome:
    """Set a bag's place from the act's, or say why it stays as it is."""
    told = act.payload.get("point")
    if told is None:
        return Outcome(bag_uuid=bag.uuid, bag=bag)
    point = Point(float(told["lon"]), float(told["lat"]), srid=4326)
    accuracy = told.get("accuracy_m")
    why = _why_not(bag, point, accuracy)
    if why:
        return Outcome(bag_uuid=bag.uuid, bag=bag, why=why)
    before = list(bag.point.coords) if bag.point else None
    bag.point, bag.point_accuracy_m = point, accuracy
    _write(act, bag)
    return Outcome(bag_uuid=bag.uuid, bag=bag, place_before=before, moved_place=True)


def put_back(act: Act, bag: Bag, before: list[float] | None) -> None:
    """Give a bag the place that it had before it was collected."""
    bag.point = Point(before[0], before[1], srid=4326) if before else None
    bag.point_accuracy_m = None
    _write(act, bag)


def _write(act: Act, bag: Bag) -> None:
    Bag.objects.for_group(act.member.group_id).filter(pk=bag.pk).update(
        point=bag.point, point_accuracy_m=bag.point_accuracy_m
    )


def _why_not(bag: Bag, point: Point, accuracy: float | None) -> str:
    if bag.point_accuracy_m is not None:
        return "its place was told before and stays as it is"
    if bag.point and (accuracy is None or accuracy > WORST_ACCURACY_M):
        known = "unknown" if accuracy is None else f"{accuracy:,.0f} m"
        return (
            f"the phone's place has an accuracy of {known}, so that the planned place"
            " stays"
        )
    outside = _outside_m(bag, point)
    if outside > MOST_OUTSIDE_M + (accuracy or 0):
        far = f"{outside / 1000:,.1f} km" if outside < 1e6 else "far"  # noqa: PLR2004 - 1,000 km
        return f"the phone was {far} from the block, so that its place was not taken"
    return ""


def _outside_m(bag: Bag, point: Point) -> float:
    """Give how far outside the bag's block a point lies, in metres; 0 inside."""
    boundary = boundary_of(bag.round.block, on=bag.round.collected_on)
    if boundary is None:
        return 0.0
    if abs(point.y) > FARTHEST_NORTH:
        return float("inf")
    ground = boundary.geometry.transform(MERCATOR, clone=True)
    # The map's metres are longer than the ground's, by the latitude.
    stretched: float = ground.distance(point.transform(MERCATOR, clone=True))
    return stretched * cos(radians(boundary.geometry.centroid.y))
