"""Take files of daily weather: look first, then publish; state how heat is summed."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from django.db import connection, transaction
from django.utils import timezone

from blocks.access import Member
from blocks.errors import SiteError
from blocks.files import path_of, store
from blocks.models import Farm
from monitoring.models import DegreeDayRule, WeatherDay, WeatherStation, WeatherUpload
from monitoring.sheets.findings import Finding, UnreadableSheetError
from monitoring.weather.comparison import Comparison, compare
from monitoring.weather.days import ReadDay
from monitoring.weather.reading import read_weather

State = WeatherUpload.State
WEATHER_LOCK = 727_010
MOST_FINDINGS = 300


class WeatherNotReadyError(SiteError):
    """The file still has errors or open questions, or is over."""

    code = "weather-not-ready"
    status = 409


def station_named(farm: Farm, name: str) -> WeatherStation:
    """Give a farm's station by its name, made if it is new; the first is the usual."""
    mine = WeatherStation.objects.for_group(farm.farm_group_id).filter(farm=farm)
    found: WeatherStation | None = mine.filter(name__iexact=name.strip()).first()
    if found is not None:
        return found
    return WeatherStation.objects.create(
        farm_group_id=farm.farm_group_id,
        farm=farm,
        name=name.strip(),
        is_usual=not mine.exists(),
    )


@transaction.atomic
def make_station_usual(station: WeatherStation) -> None:
    """Sum the farm's degree-days from this station from now on."""
    mine = WeatherStation.objects.for_group(station.farm_group_id)
    mine.filter(farm=station.farm_id, is_usual=True).update(is_usual=False)
    mine.filter(pk=station.pk).update(is_usual=True)


@transaction.atomic
def receive_weather(
    member: Member,
    station: WeatherStation,
    *,
    file_name: str,
    chunks: Iterable[bytes],
    unit: str,
) -> tuple[WeatherUpload, bool]:
    """Keep an uploaded file and read it.

    The same file published before for the station is given back, with False.
    """
    stored = store("weather", member.group_id, chunks)
    before = (
        WeatherUpload.objects.for_group(member.group_id)
        .filter(station=station, sha256=stored.sha256, unit=unit, state=State.PUBLISHED)
        .first()
    )
    if before is not None:
        path_of("weather", member.group_id, stored.stored_name).unlink(missing_ok=True)
        return before, False
    upload = WeatherUpload.objects.create(
        farm_group=member.farm_group,
        station=station,
        file_name=file_name[-255:] or "unnamed",
        stored_name=stored.stored_name,
        sha256=stored.sha256,
        size_bytes=stored.size_bytes,
        unit=unit,
        uploaded_by=member.user,
    )
    _read(upload)
    return upload, True


def _read(upload: WeatherUpload) -> Comparison | None:
    """Read the stored file again, and compare it with what stands; 1 or 2 queries."""
    zone = upload.farm_group.zone
    path = path_of("weather", upload.farm_group_id, upload.stored_name)
    try:
        found = read_weather(
            path,
            unit=upload.unit,
            answers=upload.answers,
            today=timezone.localdate(timezone=zone),
            zone=zone,
        )
    except (UnreadableSheetError, FileNotFoundError) as refused:
        upload.state = State.REFUSED
        upload.preview = {
            "code": getattr(refused, "code", "file-gone"),
            "sentence": getattr(refused, "sentence", "The stored file is gone."),
        }
        upload.save()
        return None
    compared = compare(upload.station, found.days)
    upload.preview = {
        "rows": found.rows,
        "days": len(found.days),
        "first_on": found.days[0].on.isoformat() if found.days else "",
        "last_on": found.days[-1].on.isoformat() if found.days else "",
        "errors": sum(one.level == "error" for one in found.findings),
        "warnings": sum(one.level == "warning" for one in found.findings),
        "findings": _told(found.findings),
        "questions": [asdict(question) for question in found.questions],
        **compared.told(),
    }
    upload.save()
    return compared


def _told(findings: list[Finding]) -> list[dict[str, Any]]:
    """Put errors first, then rows in their order; not without end."""
    ordered = sorted(findings, key=lambda one: (one.level != "error", one.row or 0))
    return [asdict(one) for one in ordered[:MOST_FINDINGS]]


def _still_open(upload: WeatherUpload) -> WeatherUpload:
    """Hold the upload's row, so that nobody publishes it meanwhile."""
    held: WeatherUpload = (
        WeatherUpload.objects.for_group(upload.farm_group_id)
        .select_for_update(of=("self",))
        .select_related("station__farm", "farm_group")
        .get(pk=upload.pk)
    )
    if held.state != State.READ:
        raise WeatherNotReadyError(
            f"This file is {held.get_state_display()}; upload it again to change"
            " something."
        )
    return held


@transaction.atomic
def answer_weather(upload: WeatherUpload, answers: dict[str, str]) -> None:
    """Take answers to the file's questions, and read it again."""
    held = _still_open(upload)
    for question in held.preview.get("questions", []):
        offered = {choice for choice, _ in question["choices"]}
        if answers.get(question["key"]) in offered:
            held.answers[question["key"]] = answers[question["key"]]
    _read(held)


@transaction.atomic
def publish_weather(
    member: Member, upload: WeatherUpload, *, without_faulty: bool = False
) -> WeatherUpload:
    """Let a file's days stand: new ones are added, changed ones supersede."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_advisory_xact_lock(%s, %s)", [WEATHER_LOCK, upload.station_id]
        )
    held = _still_open(upload)
    compared = _read(held)
    if compared is None or held.preview["questions"]:
        raise WeatherNotReadyError(
            "The file cannot be published: answer its questions, or upload a mended"
            " one."
        )
    if held.preview["errors"] and not without_faulty:
        raise WeatherNotReadyError(
            "The file still has rows in error. Mend them and upload it again, or"
            " publish it without them."
        )
    if not held.preview["days"]:
        raise WeatherNotReadyError("No row of the file can be used.")
    _write(member, held, compared)
    held.state, held.published_at = State.PUBLISHED, timezone.now()
    held.save()
    return held


def _write(member: Member, upload: WeatherUpload, compared: Comparison) -> None:
    over = [old.pk for old, _ in compared.changed]
    WeatherDay.objects.for_group(upload.farm_group_id).filter(pk__in=over).update(
        is_current=False
    )
    rows = [(None, day) for day in compared.new]
    WeatherDay.objects.bulk_create(
        (
            _row(member, upload, day, supersedes=old)
            for old, day in [*rows, *compared.changed]
        ),
        batch_size=1000,
    )


def _row(
    member: Member,
    upload: WeatherUpload,
    day: ReadDay,
    *,
    supersedes: WeatherDay | None,
) -> WeatherDay:
    return WeatherDay(
        farm_group_id=upload.farm_group_id,
        station_id=upload.station_id,
        measured_on=day.on,
        minimum_deg_c=day.minimum_c,
        maximum_deg_c=day.maximum_c,
        quality=day.quality,
        source_upload=upload,
        source_row=day.row,
        supersedes=supersedes,
        created_by=member.user,
    )


@transaction.atomic
def discard_weather(upload: WeatherUpload) -> None:
    """Put a file aside; it is kept, and nothing of it counts."""
    held = _still_open(upload)
    held.state = State.DISCARDED
    held.save(update_fields=["state"])


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedRule:
    """How degree-days are to be summed."""

    starts_on: date
    method: str
    cutoff: str
    lower_deg_c: float
    upper_deg_c: float | None
    reason: str


def state_rule(member: Member, farm: Farm, stated: StatedRule) -> DegreeDayRule:
    """Sum a farm's degree-days in another way from a start date on."""
    return DegreeDayRule.objects.create(
        farm_group=member.farm_group,
        farm=farm,
        created_by=member.user,
        **asdict(stated),
    )
