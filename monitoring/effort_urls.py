"""Addresses of dispersion and of how many bags to take."""

from django.urls import URLPattern, path

from monitoring.views import effort

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}dispersion/", effort.dispersion, name="dispersion"),
    path(f"{GROUP}blocks/<uuid:block_uuid>/effort/", effort.effort, name="effort"),
]
