"""The app where the site is put together."""

from django.apps import AppConfig


class DeployConfig(AppConfig):
    """Commands and checks that need every other app."""

    name = "deploy"
    label = "deploy"
