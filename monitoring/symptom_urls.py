"""Addresses of symptom scores."""

from django.urls import URLPattern, path

from monitoring.views import symptoms

GROUP = "g/<slug:group_slug>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}symptoms/", symptoms.symptoms, name="symptoms"),
    path(
        f"{GROUP}rounds/<uuid:round_uuid>/scores/",
        symptoms.score_round,
        name="score-round",
    ),
]
