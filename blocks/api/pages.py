"""Lists of the API come in pages."""

from typing import Any

from drf_spectacular.utils import OpenApiParameter, inline_serializer
from rest_framework import serializers
from rest_framework.pagination import PageNumberPagination


class Pages(PageNumberPagination):
    """Pages of 200 rows, or of as many as `page_size` says, up to 1,000."""

    page_size = 200
    page_size_query_param = "page_size"
    max_page_size = 1000


PAGE_PARAMETERS = [
    OpenApiParameter("page", int, description="Which page, from 1."),
    OpenApiParameter("page_size", int, description="Rows a page, up to 1,000."),
]


def page_of(row: type[serializers.BaseSerializer[Any]], *, name: str) -> Any:
    """Describe a page of rows for the schema."""
    return inline_serializer(
        name,
        {
            "count": serializers.IntegerField(),
            "next": serializers.URLField(allow_null=True),
            "previous": serializers.URLField(allow_null=True),
            "results": row(many=True),
        },
    )
