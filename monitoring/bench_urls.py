"""Addresses of the bench: counting, what it keeps, and what comes of it."""

from django.urls import URLPattern, path

from monitoring.api.bench import BenchEvents
from monitoring.views import bench

BENCH = "g/<slug:group_slug>/bench/"

urlpatterns: list[URLPattern] = [
    path(BENCH, bench.shell, name="bench"),
    path(f"{BENCH}worker.js", bench.worker, name="bench-worker"),
    path(f"{BENCH}app.webmanifest", bench.manifest, name="bench-manifest"),
    path(f"{BENCH}events/", BenchEvents.as_view(), name="bench-events"),
    path(f"{BENCH}kit/", bench.kit, name="bench-kit"),
]
