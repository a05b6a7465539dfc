"""The pages of alerts and of the messages about them."""

from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from alerts import queries
from alerts.delivery.reading import mail_of
from alerts.services.thresholds import subscribe
from blocks.access import Member, Role
from blocks.views.doors import for_member

A_PAGE = 30


@require_safe
@for_member()
def alerts(request: HttpRequest, member: Member) -> HttpResponse:
    """List the alerts that stand, then those that ended."""
    found = queries.alerts_of(member)
    ended = Paginator(found.exclude(ended_at=None), A_PAGE)
    return render(
        request,
        "alerts/alerts.html",
        {
            "standing": found.filter(ended_at=None),
            "page": ended.get_page(request.GET.get("page")),
            "subscribed": queries.is_subscribed(member),
        },
    )


@require_safe
@for_member()
def alert(request: HttpRequest, member: Member, *, alert_uuid: UUID) -> HttpResponse:
    """Show an alert's history."""
    found = queries.alert_for(member, alert_uuid)
    return render(request, "alerts/alert.html", {"alert": found})


@require_POST
@for_member()
def subscription(request: HttpRequest, member: Member) -> HttpResponse:
    """Take or end the member's own subscription."""
    wanted = request.POST.get("by_email") == "yes"
    subscribe(member, by_email=wanted)
    messages.success(
        request,
        f"Alerts go to {member.user.email} from now on."
        if wanted
        else "No more alerts by e-mail.",
    )
    return redirect("alerts", member.farm_group.slug)


@require_safe
@for_member(Role.COORDINATOR)
def outbox(request: HttpRequest, member: Member) -> HttpResponse:
    """Show which messages were sent, wait, or were given up."""
    pages = Paginator(queries.messages_of_group(member.group_id), A_PAGE)
    return render(
        request,
        "alerts/outbox.html",
        {"page": pages.get_page(request.GET.get("page"))},
    )


@require_safe
@for_member()
def mail(request: HttpRequest, member: Member) -> HttpResponse:
    """Show the mail folder, as far as its messages are for the member to read."""
    if not settings.SHOWS_MAIL:
        raise Http404("Mail goes to a mail server.")
    known = {
        message.message_id: message
        for message in queries.messages_to_show(member)[:200]
    }
    return render(
        request,
        "alerts/mail_folder.html",
        {"letters": mail_of(settings.EMAIL_FILE_PATH, set(known))},
    )
