"""The pages of a bag and its way, of scanning, and of what waits."""

from urllib.parse import urlsplit
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from blocks.access import COUNTERS, Member
from blocks.errors import SiteError
from blocks.views.doors import for_member
from monitoring.bag_forms import MoveForm
from monitoring.labels.codes import NoLabelCodeError, printed, read_code, spoken
from monitoring.models import Bag
from monitoring.pages.bag_queues import waiting_lines, waiting_sentence
from monitoring.queries import bags as queries
from monitoring.queries.bench_acts import acts_of, acts_total
from monitoring.queries.bench_photos import photos_of
from monitoring.queries.bench_readings import decisions_due, readings_to_tell_of
from monitoring.queries.rounds import densities_of_round
from monitoring.services.bag_ways import BACK, FORWARD, move_bags

NOT_FOUND = 404


def _bag_page(
    request: HttpRequest, member: Member, found: Bag, form: MoveForm | None = None
) -> HttpResponse:
    ways = dict(Bag.Way.choices)
    return render(
        request,
        "monitoring/bag.html",
        {
            "bag": found,
            "shown_block": found.round.block,
            "spoken": spoken(found.label),
            "densities": densities_of_round(found.round),
            "forward": [(way, ways[way]) for way in FORWARD[found.way]],
            "back": [(way, ways[way]) for way in BACK.get(found.way, ())],
            "form": form or MoveForm(),
            "acts": acts_of(found),
            "bench_readings": readings_to_tell_of(found),
            "photos": photos_of(found),
        },
        status=form.status if form else 200,
    )


@require_safe
@for_member()
def bag(request: HttpRequest, member: Member, *, bag_uuid: UUID) -> HttpResponse:
    """Show a bag: its way, its label, and what was counted in it."""
    return _bag_page(request, member, queries.bag_for(member, bag_uuid))


@require_safe
@for_member()
def by_label(request: HttpRequest, member: Member, *, label: str) -> HttpResponse:
    """Show the bag whose label was scanned."""
    try:
        code = read_code(label)
    except NoLabelCodeError as error:
        return _scan_page(request, label, str(error), status=NOT_FOUND)
    return _bag_page(request, member, queries.bag_by_label(member, code))


@require_POST
@for_member(*COUNTERS)
def move(request: HttpRequest, member: Member, *, bag_uuid: UUID) -> HttpResponse:
    """Take a bag a step on its way."""
    found = queries.bag_for(member, bag_uuid)
    form = MoveForm(request.POST)
    if form.is_valid():
        try:
            (moved,) = move_bags(member, [found.pk], **form.cleaned_data)
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(
                request, f"Bag {moved.code} is {moved.get_way_display()} now."
            )
            return redirect("bag", member.farm_group.slug, moved.uuid)
    return _bag_page(request, member, found, form)


def _scan_page(
    request: HttpRequest, typed: str, refusal: str = "", *, status: int = 200
) -> HttpResponse:
    shown = {"typed": typed[:200], "refusal": refusal}
    return render(request, "monitoring/scan.html", shown, status=status)


def _label_in(text: str) -> str:
    """Take the label's code out of what a reader read: the address, or the code."""
    text = text.strip()
    if "/" not in text:
        return text
    try:
        path = urlsplit(text).path
    except ValueError:
        return text
    parts = [part for part in path.split("/") if part]
    return parts[-1] if parts else text


@require_safe
@for_member()
def scan(request: HttpRequest, member: Member) -> HttpResponse:
    """Open the bag of a label that is scanned or typed."""
    typed = request.GET.get("code", "")
    if not typed.strip():
        return _scan_page(request, "")
    try:
        label = read_code(_label_in(typed))
    except NoLabelCodeError as error:
        return _scan_page(request, typed, str(error), status=422)
    if not queries.has_label(member, label):
        refusal = (
            f"No bag that you may see has the label {printed(label)}. It may be"
            " another farm group's."
        )
        return _scan_page(request, typed, refusal, status=NOT_FOUND)
    return redirect("bag-by-label", member.farm_group.slug, label)


@require_safe
@for_member(*COUNTERS)
def queues(request: HttpRequest, member: Member) -> HttpResponse:
    """List what waits for the lab, and what the coordinator looks for."""
    today = timezone.localdate(timezone=member.farm_group.zone)
    setting = queries.setting_of(member)
    waiting = queries.waiting(member)
    lines = waiting_lines(
        waiting[: queries.MOST_SHOWN], setting, member.farm_group, today=today
    )
    total = len(lines)
    if total == queries.MOST_SHOWN:
        total = queries.waiting_total(member)
    return render(
        request,
        "monitoring/bags.html",
        {
            "lines": lines,
            "sentence": waiting_sentence(lines, total),
            "setting": setting,
            "most": queries.MOST_SHOWN,
            "rounds": queries.incomplete_rounds(member, today=today)[
                : queries.MOST_SHOWN
            ],
            "coming": queries.coming_rounds(member, today=today)[: queries.MOST_SHOWN],
            "missing": queries.missing(member, today=today)[: queries.MOST_SHOWN],
            "lost_days": queries.LOST_SHOWN_DAYS,
            "bench_waiting": decisions_due(member),
            "acts_waiting": acts_total(member),
        },
    )
