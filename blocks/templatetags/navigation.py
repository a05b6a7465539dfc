"""The navigation of a farm group's pages."""

from dataclasses import dataclass

from django import template
from django.conf import settings
from django.template import Context
from django.urls import NoReverseMatch, reverse

from blocks.access import COUNTERS, EVERYONE, Member, Role

register = template.Library()


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of the navigation."""

    label: str
    url: str
    current: str


# Label, URL name, and who sees it. Names only: the shell knows no page above it.
ENTRIES = (
    ("Blocks", "group", EVERYONE),
    ("Bags", "bags", COUNTERS),
    ("Bench", "bench", COUNTERS),
    ("Count sheets", "sheets", COUNTERS),
    ("Rounds due", "rounds-due", EVERYONE),
    ("Alerts", "alerts", EVERYONE),
    ("Thresholds", "thresholds", EVERYONE),
    ("Treatments", "treatments", EVERYONE),
    ("Weather", "weather", EVERYONE),
    ("Laboratory", "laboratory", COUNTERS),
    ("People", "people", frozenset({Role.COORDINATOR})),
    ("Mail", "mail", EVERYONE),
)


# Where the farm group's own page leads to: its address begins all others.
UNDER_BLOCKS = ("blocks/", "rounds/", "densities/", "ratios/")


def _current(name: str, url: str, path: str) -> str:
    """Tell whether an entry is the page shown, or one above it (aria-current)."""
    if path == url:
        return "page"
    below = path.removeprefix(url) if path.startswith(url) else ""
    if name == "group":
        below = below if below.startswith(UNDER_BLOCKS) else ""
    return "true" if below else ""


@register.simple_tag(takes_context=True)
def navigation_items(context: Context) -> list[Item]:
    """Give the pages that the member may open."""
    member: Member = context["member"]
    request = context["request"]
    items = []
    for label, name, roles in ENTRIES:
        if member.role not in roles or (name == "mail" and not settings.SHOWS_MAIL):
            continue
        try:
            url = reverse(name, kwargs={"group_slug": member.farm_group.slug})
        except NoReverseMatch:
            continue
        items.append(Item(label, url, _current(name, url, request.path)))
    return items


@register.inclusion_tag("blocks/partials/form_fields.html")
def form_fields(form: object) -> dict[str, object]:
    """Show a form's fields, one question a line, with hints and errors in words."""
    return {"form": form}
