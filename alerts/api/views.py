"""Give alerts to programs."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from alerts.api.serializers import STANDING, AlertSerializer, WantedAlertsSerializer
from alerts.queries import WantedAlerts, wanted_alerts
from blocks.api.doors import GroupAPIView
from blocks.api.pages import PAGE_PARAMETERS, Pages, page_of


class AlertList(GroupAPIView):
    """The alerts on the blocks that the person may see."""

    @extend_schema(
        parameters=[WantedAlertsSerializer, *PAGE_PARAMETERS],
        responses=page_of(AlertSerializer, name="PageOfAlerts"),
        operation_id="alerts_list",
    )
    def get(self, request: Request, *, group_slug: str) -> Response:
        """List alerts with their history, newest first."""
        asked = WantedAlertsSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        given = asked.validated_data
        stands = given["state"] == STANDING if "state" in given else None
        wanted = WantedAlerts(stands=stands, block_uuid=given.get("block"))
        pages = Pages()
        rows = pages.paginate_queryset(
            wanted_alerts(self.member, wanted), request, view=self
        )
        return pages.get_paginated_response(AlertSerializer(rows, many=True).data)
