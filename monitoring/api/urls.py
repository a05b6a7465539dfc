"""Addresses of the API of blocks and densities."""

from django.urls import URLPattern, path

from monitoring.api.views import BlockList, DensityList, RatioList

BLOCKS = "api/g/<slug:group_slug>/blocks/"

urlpatterns: list[URLPattern] = [
    path(BLOCKS, BlockList.as_view(), name="api-blocks"),
    path(
        f"{BLOCKS}<uuid:block_uuid>/densities/",
        DensityList.as_view(),
        name="api-densities",
    ),
    path(f"{BLOCKS}<uuid:block_uuid>/ratios/", RatioList.as_view(), name="api-ratios"),
]
