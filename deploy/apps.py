"""The app where the site is put together."""

from importlib import import_module

from django.apps import AppConfig


class DeployConfig(AppConfig):
    """Commands and checks that need every other app."""

    name = "deploy"
    label = "deploy"

    def ready(self) -> None:
        """Make the site's task queue the current one, for pages and commands too.

        Without it wake-ups would go to Celery's default broker, where nobody listens.
        """
        import_module("deploy.project.celery")
