"""Addresses of planned rounds, of what is due, and of its calendar."""

from django.urls import URLPattern, path

from monitoring.views import plan_files, plans, rounds_due

GROUP = "g/<slug:group_slug>/"
PLAN = f"{GROUP}plans/<uuid:plan_uuid>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}plans/", rounds_due.due, name="rounds-due"),
    path(f"{GROUP}plans/habits/", rounds_due.habits, name="round-habits"),
    path(f"{GROUP}plans/calendar/", rounds_due.calendar, name="round-calendar"),
    path(f"{GROUP}blocks/<uuid:block_uuid>/plan/", plans.plan_round, name="plan-round"),
    path(PLAN, plans.plan, name="plan"),
    path(f"{PLAN}put-off/", plans.put_off, name="put-off-plan"),
    path(f"{PLAN}withdraw/", plans.withdraw, name="withdraw-plan"),
    path(f"{PLAN}sheet/", plans.field_sheet, name="plan-sheet"),
    path(f"{PLAN}points.gpx", plan_files.gpx, name="plan-gpx"),
    path(f"{PLAN}points.geojson", plan_files.geojson, name="plan-geojson"),
    path("calendar/<str:token>.ics", plan_files.calendar_feed, name="calendar-feed"),
]
