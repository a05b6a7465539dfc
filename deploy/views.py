"""Pages that only the demo has."""

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_GET

from blocks.access import COUNTERS, Member
from blocks.views.doors import for_member
from deploy.demo.loading import fresh_sheet_day
from deploy.demo.sheets import fresh_sheet


@require_GET
@for_member(*COUNTERS)
def fresh_sheet_file(request: HttpRequest, member: Member) -> HttpResponse:  # noqa: ARG001 - the door's signature
    """Give the demo's laboratory this week's sheet, to be uploaded."""
    if not member.farm_group.is_demo:
        raise Http404("Only the invented farm group has a fresh sheet.")
    today = timezone.localdate(timezone=member.farm_group.zone)
    sheet = fresh_sheet(today=fresh_sheet_day(member.farm_group, today=today))
    return HttpResponse(
        sheet.text,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="{sheet.file_name}"'},
    )
