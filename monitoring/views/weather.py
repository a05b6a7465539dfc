"""The pages of farms' weather: what there is, uploads, and how heat is summed."""

from datetime import date
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import COUNTERS, RULERS, Member, farm_for
from blocks.views.doors import for_member
from monitoring.pages.weather_page import (
    farm_figure,
    farm_heat,
    heat_notes,
    shown_days,
    summary_of,
    winkler_words,
)
from monitoring.queries import weather as queries
from monitoring.services import weather as services
from monitoring.weather.forms import DegreeDayRuleForm, WeatherFileForm

GET_OR_POST = ["GET", "HEAD", "POST"]
UPLOADERS = COUNTERS | RULERS
ANSWER = "answer-"
UPLOADS_SHOWN = 20
CORRECTIONS_SHOWN = 50


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def day_asked(request: HttpRequest, member: Member) -> date:
    """Give the day up to which a page is asked for; today for anything else."""
    today = _today(member)
    try:
        asked = parse_date(request.GET.get("on", ""))
    except ValueError:
        asked = None
    return asked if asked and date(1900, 1, 2) <= asked <= today else today


@require_safe
@for_member()
def weather(request: HttpRequest, member: Member) -> HttpResponse:
    """List the farms with how far their weather reaches."""
    return render(
        request,
        "monitoring/weather.html",
        {
            "farms": queries.farms_with_weather(member),
            "may_upload": member.role in UPLOADERS,
        },
    )


@require_safe
@for_member()
def farm_weather(
    request: HttpRequest, member: Member, *, farm_uuid: UUID
) -> HttpResponse:
    """Show a farm's weather with its quality, gaps and degree-days."""
    farm = farm_for(member, farm_uuid)
    on = day_asked(request, member)
    heat = farm_heat(farm, on=on)
    shown: dict[str, Any] = {
        "farm": farm,
        "heat": heat,
        "on": on,
        "is_today": on == _today(member),
        "figure": farm_figure(heat) if heat.heat else None,
        "summary": summary_of(heat),
        "notes": heat_notes(heat.heat) if heat.heat else [],
        "days": shown_days(heat)[::-1],
        "winkler": winkler_words(farm, heat.station, on=on),
        "rules": queries.rules_of(farm),
        "uploads": queries.uploads_of(farm)[:UPLOADS_SHOWN],
        "may_upload": member.role in UPLOADERS,
    }
    if heat.station:
        shown["corrections"] = queries.corrections_of(heat.station)[:CORRECTIONS_SHOWN]
    return render(request, "monitoring/farm_weather.html", shown)


@require_http_methods(GET_OR_POST)
@for_member(*UPLOADERS)
def upload_weather(
    request: HttpRequest, member: Member, *, farm_uuid: UUID
) -> HttpResponse:
    """Take a file of daily weather for a farm."""
    farm = farm_for(member, farm_uuid)
    form = WeatherFileForm(
        request.POST or None,
        request.FILES or None,
        stations=queries.stations_of(farm),
    )
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        upload, fresh = services.receive_weather(
            member,
            services.station_named(farm, form.cleaned_data["station"]),
            file_name=file.name or "",
            chunks=file.chunks(),
            unit=form.cleaned_data["unit"],
        )
        if not fresh:
            messages.info(
                request,
                "This very file was published for the station before; nothing was"
                " changed by sending it again.",
            )
        return redirect("weather-upload", member.farm_group.slug, upload.uuid)
    return render(
        request,
        "monitoring/upload_weather.html",
        {"form": form, "farm": farm},
        status=422 if form.errors else 200,
    )


@require_safe
@for_member(*UPLOADERS)
def weather_upload(
    request: HttpRequest, member: Member, *, upload_uuid: UUID
) -> HttpResponse:
    """Show what was found in a file before it is published."""
    upload = queries.upload_for(member, upload_uuid)
    questions = [
        {**question, "name": ANSWER + question["key"]}
        for question in upload.preview.get("questions", [])
    ]
    return render(
        request,
        "monitoring/weather_upload.html",
        {"upload": upload, "farm": upload.station.farm, "questions": questions},
    )


@require_POST
@for_member(*UPLOADERS)
def answer_weather(
    request: HttpRequest, member: Member, *, upload_uuid: UUID
) -> HttpResponse:
    """Take answers to a file's questions."""
    upload = queries.upload_for(member, upload_uuid)
    answers = {
        name.removeprefix(ANSWER): str(value)
        for name, value in request.POST.items()
        if name.startswith(ANSWER)
    }
    services.answer_weather(upload, answers)
    return redirect("weather-upload", member.farm_group.slug, upload.uuid)


@require_POST
@for_member(*UPLOADERS)
def publish_weather(
    request: HttpRequest, member: Member, *, upload_uuid: UUID
) -> HttpResponse:
    """Let a file's days stand."""
    upload = queries.upload_for(member, upload_uuid)
    services.publish_weather(
        member, upload, without_faulty=request.POST.get("without") == "faulty"
    )
    messages.success(request, "Published; degree-days follow it from now on.")
    return redirect("farm-weather", member.farm_group.slug, upload.station.farm.uuid)


@require_POST
@for_member(*UPLOADERS)
def discard_weather(
    request: HttpRequest, member: Member, *, upload_uuid: UUID
) -> HttpResponse:
    """Put a file aside."""
    upload = queries.upload_for(member, upload_uuid)
    services.discard_weather(upload)
    return redirect("farm-weather", member.farm_group.slug, upload.station.farm.uuid)


@require_POST
@for_member(*RULERS)
def make_station_usual(
    request: HttpRequest, member: Member, *, station_uuid: UUID
) -> HttpResponse:
    """Sum a farm's degree-days from another of its stations."""
    station = queries.station_for(member, station_uuid)
    services.make_station_usual(station)
    messages.success(request, f"Degree-days are now summed from {station.name}.")
    return redirect("farm-weather", member.farm_group.slug, station.farm.uuid)


@require_http_methods(GET_OR_POST)
@for_member(*RULERS)
def degree_day_rule(
    request: HttpRequest, member: Member, *, farm_uuid: UUID
) -> HttpResponse:
    """State how a farm's degree-days are summed."""
    farm, today = farm_for(member, farm_uuid), _today(member)
    rule = queries.rule_in_force(farm, today)
    form = DegreeDayRuleForm(request.POST or None, rule=rule, today=today)
    if request.method == "POST" and form.is_valid():
        services.state_rule(member, farm, services.StatedRule(**form.cleaned_data))
        messages.success(request, "Degree-days are summed so from now on.")
        return redirect("farm-weather", member.farm_group.slug, farm.uuid)
    return render(
        request,
        "monitoring/degree_day_rule.html",
        {"form": form, "farm": farm, "rule": rule},
        status=422 if form.errors else 200,
    )
