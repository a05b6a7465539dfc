"""Give blocks and densities to programs."""

from uuid import UUID

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from blocks.access import block_for
from blocks.api.doors import GroupAPIView
from blocks.api.pages import PAGE_PARAMETERS, Pages, page_of
from monitoring.api.serializers import (
    BlockSerializer,
    DensitySerializer,
    RatioSerializer,
    WantedSerializer,
)
from monitoring.queries.current import (
    Wanted,
    blocks_with_area,
    current_densities,
    current_ratios,
)


class BlockList(GroupAPIView):
    """The blocks that the person may see."""

    @extend_schema(
        parameters=PAGE_PARAMETERS,
        responses=page_of(BlockSerializer, name="PageOfBlocks"),
        operation_id="blocks_list",
    )
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
        parameters=[WantedSerializer, *PAGE_PARAMETERS],
        responses=page_of(DensitySerializer, name="PageOfDensities"),
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


class RatioList(GroupAPIView):
    """The current predator ratios of a block."""

    @extend_schema(
        parameters=[WantedSerializer, *PAGE_PARAMETERS],
        responses=page_of(RatioSerializer, name="PageOfRatios"),
        operation_id="ratios_list",
    )
    def get(self, request: Request, *, group_slug: str, block_uuid: UUID) -> Response:
        """List predator ratios, newest round first; `organism` is the predator."""
        block = block_for(self.member, block_uuid)
        asked = WantedSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        pages = Pages()
        rows = pages.paginate_queryset(
            current_ratios(block, Wanted(**asked.validated_data)), request, view=self
        )
        return pages.get_paginated_response(RatioSerializer(rows, many=True).data)
