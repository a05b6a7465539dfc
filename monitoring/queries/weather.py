"""Read daily weather, its stations and uploads, and the rule of degree-days."""

from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.contrib.gis.db.models.functions import Centroid
from django.db.models import Count, Max, Min, Q, QuerySet
from django.http import Http404

from blocks.access import Member, visible_farms
from blocks.models import BlockBoundary, Farm
from monitoring.models import (
    DegreeDayRule,
    WeatherDay,
    WeatherStation,
    WeatherUpload,
)


def farms_with_weather(member: Member) -> QuerySet[Farm]:
    """List the farms a member may see, with how far their weather reaches; 1 query."""
    current = Q(weather_stations__days__is_current=True)
    there = current & ~Q(weather_stations__days__quality="missing")
    return visible_farms(member).annotate(
        stations=Count("weather_stations", distinct=True),
        days=Count("weather_stations__days", filter=there),
        first_on=Min("weather_stations__days__measured_on", filter=there),
        last_on=Max("weather_stations__days__measured_on", filter=there),
    )


def stations_of(farm: Farm) -> list[WeatherStation]:
    """List a farm's stations, the usual one first; 1 query."""
    return list(
        WeatherStation.objects.for_group(farm.farm_group_id)
        .filter(farm=farm)
        .order_by("-is_usual", "name")
    )


def station_for(member: Member, station_uuid: UUID) -> WeatherStation:
    """Give a station of a farm that the member may see, or Http404; 1 query."""
    station: WeatherStation | None = (
        WeatherStation.objects.for_group(member.group_id)
        .filter(uuid=station_uuid, farm__in=visible_farms(member))
        .select_related("farm")
        .first()
    )
    if station is None:
        raise Http404("No such station.")
    return station


def upload_for(member: Member, upload_uuid: UUID) -> WeatherUpload:
    """Give an upload for a farm that the member may see, or Http404; 1 query."""
    upload: WeatherUpload | None = (
        WeatherUpload.objects.for_group(member.group_id)
        .filter(uuid=upload_uuid, station__farm__in=visible_farms(member))
        .select_related("station__farm", "uploaded_by")
        .first()
    )
    if upload is None:
        raise Http404("No such upload.")
    return upload


def uploads_of(farm: Farm) -> QuerySet[WeatherUpload]:
    """List a farm's weather files, newest first; 1 query."""
    uploads: QuerySet[WeatherUpload] = (
        WeatherUpload.objects.for_group(farm.farm_group_id)
        .filter(station__farm=farm)
        .select_related("station", "uploaded_by")
        .order_by("-uploaded_at")
    )
    return uploads


def days_of(station: WeatherStation, *, since: date, until: date) -> list[WeatherDay]:
    """List a station's days between two dates, as they stand, in order; 1 query."""
    return list(
        WeatherDay.objects.for_group(station.farm_group_id)
        .filter(
            station=station,
            is_current=True,
            measured_on__gte=since,
            measured_on__lte=until,
        )
        .order_by("measured_on")
    )


def corrections_of(station: WeatherStation) -> QuerySet[WeatherDay]:
    """List days that took the place of others, newest correction first; 1 query."""
    rows: QuerySet[WeatherDay] = (
        WeatherDay.objects.for_group(station.farm_group_id)
        .filter(station=station, supersedes__isnull=False)
        .select_related("supersedes", "source_upload", "created_by")
        .order_by("-pk")
    )
    return rows


def lies_south(farm: Farm) -> bool:
    """Tell whether a farm's blocks lie south of the equator; 1 query."""
    centre = (
        BlockBoundary.objects.for_group(farm.farm_group_id)
        .filter(block__farm=farm)
        .annotate(centre=Centroid("geometry"))
        .values_list("centre", flat=True)
        .first()
    )
    return centre is not None and bool(centre.y < 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleInForce:
    """How a farm's degree-days are summed in the season of a day."""

    starts_on: date
    method: str
    cutoff: str
    lower_deg_c: float
    upper_deg_c: float | None
    reason: str
    is_default: bool

    @property
    def method_label(self) -> str:
        """The method in words."""
        return str(DegreeDayRule.Method(self.method).label)

    @property
    def cutoff_label(self) -> str:
        """The cut-off in one word."""
        return self.cutoff


# Rust mites: Walton et al. 2010, abstract of the Entomological Society of America's
# meeting (thresholds); single sine and horizontal cut-off are the usual choice.
DEFAULT_LOWER_C, DEFAULT_UPPER_C = 10.51, 39.19
DEFAULT_REASON = (
    "thresholds of the grape rust mite: Walton et al. 2010 (abstract); the start is"
    " common practice, without a source"
)


def rule_in_force(farm: Farm, on: date) -> RuleInForce:
    """Give the rule for sums up to a day, and the start before it; 1 or 2 queries.

    Rules hold from their start date on, and their start comes again each year.
    """
    rules = DegreeDayRule.objects.for_group(farm.farm_group_id).filter(farm=farm)
    row: DegreeDayRule | None = (
        rules.filter(starts_on__lte=on).order_by("-starts_on", "-pk").first()
    )
    if row is None:
        return _default_rule(farm, on)
    return RuleInForce(
        starts_on=_last_start(row.starts_on, on),
        method=row.method,
        cutoff=row.cutoff,
        lower_deg_c=row.lower_deg_c,
        upper_deg_c=row.upper_deg_c,
        reason=row.reason,
        is_default=False,
    )


def _default_rule(farm: Farm, on: date) -> RuleInForce:
    """Begin with the year, or in mid-year south of the equator; 1 query."""
    south = lies_south(farm)
    return RuleInForce(
        starts_on=_last_start(date(on.year - 1, 7 if south else 1, 1), on),
        method=DegreeDayRule.Method.SINGLE_SINE,
        cutoff=DegreeDayRule.Cutoff.HORIZONTAL,
        lower_deg_c=DEFAULT_LOWER_C,
        upper_deg_c=DEFAULT_UPPER_C,
        reason=DEFAULT_REASON,
        is_default=True,
    )


def _last_start(first: date, on: date) -> date:
    """Give a start date's newest return that is not after a day."""
    # A leap day comes again as the last of February.
    day = 28 if (first.month, first.day) == (2, 29) else first.day
    start = date(on.year, first.month, day)
    return start if start <= on else start.replace(year=on.year - 1)


def rules_of(farm: Farm) -> QuerySet[DegreeDayRule]:
    """List a farm's rules, newest first; 1 query."""
    rules: QuerySet[DegreeDayRule] = (
        DegreeDayRule.objects.for_group(farm.farm_group_id)
        .filter(farm=farm)
        .select_related("created_by")
        .order_by("-starts_on", "-pk")
    )
    return rules
