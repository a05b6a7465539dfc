"""Addresses that need every app."""

from django.urls import URLPattern, path

from deploy import views

urlpatterns: list[URLPattern] = [
    path(
        "g/<slug:group_slug>/fresh-sheet.csv",
        views.fresh_sheet_file,
        name="fresh-sheet",
    ),
]
