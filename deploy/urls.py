"""Addresses that need every app."""

from django.urls import URLPattern, path

from deploy import certificate, views

urlpatterns: list[URLPattern] = [
    path(
        "g/<slug:group_slug>/fresh-sheet.csv",
        views.fresh_sheet_file,
        name="fresh-sheet",
    ),
    path("certificate/", certificate.how_to_trust, name="certificate"),
    path(
        "certificate/washboard.crt",
        certificate.certificate_file,
        name="certificate-file",
    ),
]
