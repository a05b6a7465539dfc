"""Addresses of the API of alerts."""

from django.urls import URLPattern, path

from alerts.api.views import AlertList

urlpatterns: list[URLPattern] = [
    path("api/g/<slug:group_slug>/alerts/", AlertList.as_view(), name="api-alerts"),
]
