"""The pages that make bags for a round, and print their labels."""

from datetime import date
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.forms.models import model_to_dict
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import (
    require_http_methods,
    require_POST,
    require_safe,
)

from blocks.access import COUNTERS, Member, Role, block_for
from blocks.errors import SiteError
from blocks.models import Block
from blocks.views.doors import for_member
from monitoring.bag_forms import BagSettingForm, MakeBagsForm, PrintForm
from monitoring.labels.papers import paper_of
from monitoring.labels.printing import labels_pdf
from monitoring.models import Bag, Round
from monitoring.pages.bag_label_words import label_of
from monitoring.queries import bags as queries
from monitoring.queries.plans import plan_for
from monitoring.queries.seasons import round_for
from monitoring.services import bags as services
from monitoring.words import bags as so_many_bags

GET_OR_POST = ["GET", "HEAD", "POST"]


def _today(member: Member) -> date:
    return timezone.localdate(timezone=member.farm_group.zone)


def _make(
    request: HttpRequest, member: Member, block: Block, of_round: Round | None
) -> HttpResponse:
    form = MakeBagsForm(
        request.POST if request.method == "POST" else None,
        today=_today(member),
        with_day=of_round is None,
    )
    if request.method == "POST" and form.is_valid():
        day = of_round.collected_on if of_round else form.cleaned_data["day"]
        try:
            made = services.make_bags(member, block, day, form.wanted())
        except SiteError as error:
            form.refuse(error)
        else:
            messages.success(
                request,
                f"{so_many_bags(len(made))} planned, each with a label code. Print"
                " the labels below.",
            )
            return redirect("labels", member.farm_group.slug, made[0].round.uuid)
    return render(
        request,
        "monitoring/make_bags.html",
        {"form": form, "shown_block": block, "round": of_round},
        status=form.status,
    )


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def plan_bags(
    request: HttpRequest, member: Member, *, block_uuid: UUID
) -> HttpResponse:
    """Make bags for a block and a day; the round is made with them."""
    return _make(request, member, block_for(member, block_uuid), None)


@require_POST
@for_member(*COUNTERS)
def bags_of_plan(
    request: HttpRequest, member: Member, *, plan_uuid: UUID
) -> HttpResponse:
    """Make the bags of a planned round, one for each of its vines."""
    plan = plan_for(member, plan_uuid)
    try:
        made = services.make_bags_of_plan(member, plan)
    except SiteError as error:
        messages.error(request, error.sentence)
        return redirect("plan", member.farm_group.slug, plan.uuid)
    messages.success(
        request,
        f"{so_many_bags(len(made))} planned, in the order of the walk. Print the"
        " labels below.",
    )
    return redirect("labels", member.farm_group.slug, made[0].round.uuid)


@require_http_methods(GET_OR_POST)
@for_member(*COUNTERS)
def make_more(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Make bags for a round that is there."""
    found = round_for(member, round_uuid)
    return _make(request, member, found.block, found)


def _labels_page(
    request: HttpRequest, member: Member, found: Round, form: PrintForm
) -> HttpResponse:
    return render(
        request,
        "monitoring/labels.html",
        {
            "form": form,
            "round": found,
            "shown_block": found.block,
            "bags": queries.labelled(found),
            "unlabelled": queries.unlabelled(found),
            "setting": form.setting,
        },
        status=form.status,
    )


@require_safe
@for_member(*COUNTERS)
def labels(request: HttpRequest, member: Member, *, round_uuid: UUID) -> HttpResponse:
    """Show a round's labels, and ask on what to print them."""
    found = round_for(member, round_uuid)
    form = PrintForm(setting=queries.setting_of(member))
    return _labels_page(request, member, found, form)


@require_safe
@for_member(*COUNTERS)
def labels_file(
    request: HttpRequest, member: Member, *, round_uuid: UUID
) -> HttpResponse:
    """Give a round's labels as a PDF; a wish that cannot be met is told of."""
    found = round_for(member, round_uuid)
    group_setting = queries.setting_of(member)
    asked = request.GET.copy()
    asked.setdefault("paper", group_setting.paper)
    form = PrintForm(asked, setting=group_setting)
    if not form.is_valid():
        return _labels_page(request, member, found, form)
    bags = queries.labelled(found)
    if form.cleaned_data["waiting"]:
        bags = [bag for bag in bags if bag.way == Bag.Way.PLANNED]
    if not bags:
        form.add_error(None, "There is no label to print. Make bags, or ask for all.")
        return _labels_page(request, member, found, form)
    content = _printed(member, found, bags, form)
    response = HttpResponse(content, content_type="application/pdf")
    name = f"labels-{found.collected_on:%Y-%m-%d}.pdf"
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _printed(
    member: Member, of_round: Round, bags: list[Bag], form: PrintForm
) -> bytes:
    slug = member.farm_group.slug
    sheet = paper_of(
        form.cleaned_data["paper"],
        roll_mm=(form.setting.roll_width_mm, form.setting.roll_height_mm),
    )
    return labels_pdf(
        [label_of(bag, of_round, _address(slug, bag.label)) for bag in bags],
        sheet,
        first=form.cleaned_data["first"],
        title=f"Labels, {of_round.block.name}, {of_round.collected_on:%Y-%m-%d}",
    )


def _address(slug: str, label: str) -> str:
    return f"{settings.SITE_URL}{reverse('bag-by-label', args=[slug, label])}"


@require_POST
@for_member(*COUNTERS)
def give(request: HttpRequest, member: Member, *, round_uuid: UUID) -> HttpResponse:
    """Give label codes to bags of a round that have none."""
    found = round_for(member, round_uuid)
    given = services.give_labels(member, found)
    messages.success(request, f"{so_many_bags(given)} got a label code.")
    return redirect("labels", member.farm_group.slug, found.uuid)


@require_http_methods(GET_OR_POST)
@for_member(Role.COORDINATOR)
def setting(request: HttpRequest, member: Member) -> HttpResponse:
    """Set what labels are printed on, and how long bags may wait."""
    form = BagSettingForm(
        request.POST if request.method == "POST" else None,
        initial=model_to_dict(queries.setting_of(member)),
    )
    if request.method == "POST" and form.is_valid():
        services.keep_setting(member, form.cleaned_data)
        messages.success(request, "The settings of bags are kept.")
        return redirect("bags", member.farm_group.slug)
    return render(
        request,
        "monitoring/bag_setting.html",
        {"form": form},
        status=form.status,
    )
