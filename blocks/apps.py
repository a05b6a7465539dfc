"""The app of farm groups, farms, people and blocks."""

from django.apps import AppConfig


class BlocksConfig(AppConfig):
    """Who owns what, and where it is."""

    name = "blocks"
    default_auto_field = "django.db.models.BigAutoField"
