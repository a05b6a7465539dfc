"""Addresses of the bench: counting, what it keeps, and what comes of it."""

from django.urls import URLPattern, path

from monitoring.api.bench import BenchEvents
from monitoring.views import bench, bench_acts, bench_photos, bench_readings

BENCH = "g/<slug:group_slug>/bench/"

urlpatterns: list[URLPattern] = [
    path(BENCH, bench.shell, name="bench"),
    path(f"{BENCH}worker.js", bench.worker, name="bench-worker"),
    path(f"{BENCH}app.webmanifest", bench.manifest, name="bench-manifest"),
    path(f"{BENCH}events/", BenchEvents.as_view(), name="bench-events"),
    path(f"{BENCH}kit/", bench.kit, name="bench-kit"),
    path(
        f"{BENCH}acts/<uuid:event_uuid>/",
        bench_acts.see_to,
        name="bench-act",
    ),
    path(
        f"{BENCH}photos/<uuid:photo_uuid>/",
        bench_photos.photo,
        name="bench-photo",
    ),
    path(
        f"{BENCH}photos/<uuid:photo_uuid>/remove/",
        bench_photos.remove,
        name="remove-photo",
    ),
    path(f"{BENCH}todo/", bench_readings.to_do, name="bench-todo"),
    path(
        f"{BENCH}todo/<uuid:reading_uuid>/",
        bench_readings.reading,
        name="bench-decide",
    ),
    path(
        f"{BENCH}readings/<uuid:reading_uuid>/figure/",
        bench_readings.figure,
        name="bench-figure",
    ),
]
