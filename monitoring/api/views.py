"""Give blocks and densities to programs."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.pagination import PageNumberPagination
from rest_framework.request import Request
from rest_framework.response import Response

from blocks.access import block_for
from blocks.api.doors import GroupAPIView
from monitoring.api.serializers import (
    BlockSerializer,
    DensitySerializer,
    WantedSerializer,
)
from monitoring.queries.current import Wanted, blocks_with_area, current_densities


class Pages(PageNumberPagination):
    """Pages of 200 rows, or of as many as `page_size` says, up to 1,000."""

    page_size = 200
    page_size_query_param = "page_size"
    max_page_size = 1000


class BlockList(GroupAPIView):
    """The blocks that the person may see."""

    @extend_schema(responses=BlockSerializer(many=True), operation_id="blocks_list")
    def get(self, request: Request, *, group_slug: str) -> Response:
        """List blocks, by farm and name."""
        today = timezone.localdate(timezone=self.member.farm_group.zone)
        pages = Pages()
        rows = pages.paginate_queryset(
            blocks_with_area(self.member, on=today), request, view=self
        )
        return pages.get_paginated_response(BlockSerializer(rows, many=True).data)


class DensityList(GroupAPIView):
    """The current densities of a block."""

    @extend_schema(
        parameters=[WantedSerializer],
        responses=DensitySerializer(many=True),
        operation_id="densities_list",
    )
    def get(self, request: Request, *, group_slug: str, block_uuid: UUID) -> Response:
        """List densities, newest round first."""
        block = block_for(self.member, block_uuid)
        asked = WantedSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        pages = Pages()
        rows = pages.paginate_queryset(
            current_densities(block, Wanted(**asked.validated_data)), request, view=self
        )
        return pages.get_paginated_response(DensitySerializer(rows, many=True).data)
