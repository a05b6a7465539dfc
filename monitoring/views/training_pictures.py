"""Pictures of reference dishes, look by look."""

from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from blocks.access import COUNTERS, Member
from blocks.views.doors import for_member
from monitoring.models import ReferenceDish
from monitoring.pages.reference_page import looks_of, marks_of
from monitoring.queries import training as queries
from monitoring.services.training import plan_of
from monitoring.training.fields import Field
from monitoring.training.picture import field_png
from monitoring.training.scene import lay_out


def _look_of(found: ReferenceDish, cell: str, part: int) -> Field:
    for look in looks_of(found):
        if (look.cell, look.part) == (cell, part):
            return look
    raise Http404("Nothing is to be counted there.")


@require_safe
@for_member(*COUNTERS)
def reference_look(
    request: HttpRequest, member: Member, *, reference_uuid: UUID, cell: str, part: int
) -> HttpResponse:
    """Draw one field of view."""
    found = queries.reference_for(member, reference_uuid)
    look = _look_of(found, cell, part)
    plan = plan_of(found)
    drawn = field_png(plan, lay_out(plan), look, magnification=found.magnification)
    return HttpResponse(drawn, content_type="image/png")


@require_safe
@for_member(*COUNTERS)
def reference_marks(
    request: HttpRequest, member: Member, *, reference_uuid: UUID, cell: str, part: int
) -> HttpResponse:
    """Draw one field of view with what is there ringed, for who has counted it."""
    found = queries.reference_for(member, reference_uuid)
    if queries.own_reading(member, found) is None:
        raise PermissionDenied("Count this dish first; then it shows what is in it.")
    look = _look_of(found, cell, part)
    plan = plan_of(found)
    drawn = field_png(
        plan,
        lay_out(plan),
        look,
        magnification=found.magnification,
        marks=marks_of(found),
    )
    return HttpResponse(drawn, content_type="image/png")
