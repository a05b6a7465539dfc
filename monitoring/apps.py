"""The app of rounds, bags, washes, tallies and densities."""

from django.apps import AppConfig


class MonitoringConfig(AppConfig):
    """What was seen, and what it means."""

    name = "monitoring"
    default_auto_field = "django.db.models.BigAutoField"
