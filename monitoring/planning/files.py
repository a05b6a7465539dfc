"""A plan's points as files for hand-held devices and maps: GPX 1.1 and GeoJSON."""

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from xml.etree import ElementTree as ET

from monitoring.models import RoundPlan, SamplePoint
from monitoring.words import several

GPX = "http://www.topografix.com/GPX/1/1"
SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"
# A centimetre and a bit; more digits would promise what no device gives.
DEGREE_DIGITS = 7


def gpx_of(plan: RoundPlan, points: Sequence[SamplePoint]) -> bytes:
    """Write waypoints in walking order, and the walk as a route.

    Source: GPX 1.1 schema, topografix.com/GPX/1/1 (order of elements from memory).
    """
    ET.register_namespace("", GPX)
    ET.register_namespace("xsi", SCHEMA)
    root = ET.Element(
        f"{{{GPX}}}gpx",
        {
            "version": "1.1",
            "creator": "Washboard",
            f"{{{SCHEMA}}}schemaLocation": f"{GPX} {GPX}/gpx.xsd",
        },
    )
    about = _under(root, "metadata")
    _under(about, "name", _title(plan))
    _under(about, "time", _utc(plan.planned_at))
    for point in points:
        _waypoint(root, "wpt", plan, point)
    route = _under(root, "rte")
    _under(route, "name", f"Walk: {_title(plan)}")
    for point in points:
        _waypoint(route, "rtept", plan, point)
    written: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return written


def _waypoint(
    parent: ET.Element, tag: str, plan: RoundPlan, point: SamplePoint
) -> None:
    at = {
        "lat": f"{point.point.y:.{DEGREE_DIGITS}f}",
        "lon": f"{point.point.x:.{DEGREE_DIGITS}f}",
    }
    found = ET.SubElement(parent, f"{{{GPX}}}{tag}", at)
    _under(found, "name", point_name(point))
    _under(found, "desc", what_to_take(plan, point))


def _under(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    made = ET.SubElement(parent, f"{{{GPX}}}{tag}")
    made.text = None if text is None else _allowed(text)
    return made


def _allowed(text: str) -> str:
    """Leave out characters that XML 1.0 has no way to write."""
    return "".join(one for one in text if one in "\t\n\r" or ord(one) >= ord(" "))


def point_name(point: SamplePoint) -> str:
    """Name a point as small screens show it: “7 mid”."""
    return f"{point.number} {point.position}".strip()


def what_to_take(plan: RoundPlan, point: SamplePoint) -> str:
    """Say what goes into the bag at a point."""
    if not point.position:
        return f"one bag of {several(plan.tissue)}"
    return f"one {plan.tissue} from the {point.position} canopy, alone in its bag"


def _title(plan: RoundPlan) -> str:
    return f"{plan.block.farm.name}, {plan.block.name}, {plan.planned_on.isoformat()}"


def _utc(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def geojson_of(plan: RoundPlan, points: Sequence[SamplePoint]) -> bytes:
    """Write the points as GeoJSON, in walking order.

    Source: RFC 7946: WGS 84, longitude first, no `crs` member.
    """
    features = [
        {
            "type": "Feature",
            "id": str(point.uuid),
            "geometry": {
                "type": "Point",
                "coordinates": [
                    round(point.point.x, DEGREE_DIGITS),
                    round(point.point.y, DEGREE_DIGITS),
                ],
            },
            "properties": {
                "number": point.number,
                "drawn": point.drawn,
                "position": point.position,
                "tissue": plan.tissue,
                "farm": plan.block.farm.name,
                "block": plan.block.name,
                "planned_on": plan.planned_on.isoformat(),
            },
        }
        for point in points
    ]
    return json.dumps(
        {"type": "FeatureCollection", "features": features}, ensure_ascii=False
    ).encode()


def file_name(plan: RoundPlan, kind: str) -> str:
    """Name a download by its block and day, in letters that every device knows."""
    plain = "".join(
        one if one.isascii() and one.isalnum() else "-" for one in plan.block.name
    ).strip("-")
    return f"{plain or 'block'}-{plan.planned_on.isoformat()}.{kind}"
