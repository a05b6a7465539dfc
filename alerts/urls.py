"""Addresses of thresholds, alerts and messages."""

from django.urls import URLPattern, path

from alerts.views import alerts, thresholds

GROUP = "g/<slug:group_slug>/"
THRESHOLD = f"{GROUP}thresholds/<uuid:threshold_uuid>/"

urlpatterns: list[URLPattern] = [
    path(f"{GROUP}thresholds/", thresholds.thresholds, name="thresholds"),
    path(f"{GROUP}thresholds/add/", thresholds.add_threshold, name="add-threshold"),
    path(THRESHOLD, thresholds.threshold, name="threshold"),
    path(f"{THRESHOLD}remove/", thresholds.remove_threshold, name="remove-threshold"),
    path(f"{GROUP}alerts/", alerts.alerts, name="alerts"),
    path(f"{GROUP}alerts/subscription/", alerts.subscription, name="subscription"),
    path(f"{GROUP}alerts/<uuid:alert_uuid>/", alerts.alert, name="alert"),
    path(f"{GROUP}messages/", alerts.outbox, name="messages"),
    path(f"{GROUP}mail/", alerts.mail, name="mail"),
]
