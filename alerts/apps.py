"""The app of thresholds, alerts and messages."""

from django.apps import AppConfig


class AlertsConfig(AppConfig):
    """What someone must be told."""

    name = "alerts"
    default_auto_field = "django.db.models.BigAutoField"
